"""The numbers of the rules that need more than one day, and the days of a week.

Apart from the course because numbers come from the pack and days from the calendar alone.
"""

from collections.abc import Mapping

from msgspec import Struct

from service.model.graph import Graph
from service.model.knowledge import RuleRecord
from service.model.quantities import Aim, Level

WEEK = 7
KINDS = (
    "dose_progression", "frequency", "lighter_week", "rest_days", "rung_progression",
    "series_length", "variation",
)  # fmt: skip
"""Kinds of the rules that need more than one day to hold."""


class Pace(Struct, frozen=True, kw_only=True, gc=False):
    """How the weeks go for one level; every number is one of a rule."""

    more_reps: int
    most_more_reps: int
    lighter_every: int
    """Weeks from one lighter week to the next; 0 for never."""
    fewer_sets: int
    rest_days: int
    rests_up_to: int
    """Times a week up to which a dose needs its days of rest."""
    rungs_below: int
    """How far below the hardest rung an unknown ladder begins."""
    weeks_on_rung: Mapping[Aim, int]
    weeks_with_helper: int
    sessions_on_rung: int
    swap_after: int
    swap_percent: int
    longest: Mapping[str, int]
    """Most weeks by verdict, where there is a limit."""


def pace_of(graph: Graph, level: Level) -> Pace:
    """Return the pace; the pack has one rule of each kind."""
    numbers = {rule.kind: rule.numbers for rule in graph.rules.values()}
    dose, rung = numbers["dose_progression"], numbers["rung_progression"]
    lighter, rest = numbers["lighter_week"], numbers["rest_days"]
    return Pace(
        more_reps=dose["more_reps"],
        most_more_reps=dose["most_more_reps"],
        lighter_every=lighter[level],
        fewer_sets=lighter["fewer_sets"],
        rest_days=rest["days"],
        rests_up_to=rest["up_to_times_a_week"],
        rungs_below=rung["below"],
        weeks_on_rung={
            "control": rung["control"],
            "practice": rung["practice"],
            "range": rung["range"],
            "transfer": rung["transfer"],
        },
        weeks_with_helper=rung["helper"],
        sessions_on_rung=rung["sessions"],
        swap_after=numbers["variation"]["after_weeks"],
        swap_percent=numbers["variation"]["least_percent"],
        longest=numbers["series_length"],
    )


def rule_of(graph: Graph, kind: str) -> RuleRecord:
    """Return the rule of a kind."""
    return next(rule for rule in graph.rules.values() if rule.kind == kind)


def is_lighter(pace: Pace, week: int) -> bool:
    """Say if the week, counted from 1, is a lighter one."""
    return pace.lighter_every > 0 and week % pace.lighter_every == 0


def days_of(week: int, sessions: int) -> tuple[int, ...]:
    """Return the days of a week's sessions, spread evenly, counted from 1 over all weeks."""
    first = WEEK * (week - 1) + 1
    return tuple(first + at * WEEK // sessions for at in range(sessions))
