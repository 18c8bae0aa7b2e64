"""The weeks ahead: what a caller asks for, and what comes back.

Apart from the answer to one screen because here a drill is said once and its doses many times.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from service.model.answer import (
    CautionAnswer,
    LookAt,
    MadeBy,
    Referral,
    Retest,
    SideDose,
    Tempo,
    Warning,
)
from service.model.quantities import Aim, Minutes, TargetId, Verdict
from service.model.screen import Screen

SeriesWeeks = Annotated[int, Meta(ge=1, le=12)]
WeekSessions = Annotated[int, Meta(ge=1, le=7)]


class SeriesRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A screen, and the weeks to lay out from it."""

    screen: Screen
    weeks: SeriesWeeks = 6
    sessions_a_week: WeekSessions = 3
    minutes: Minutes | None = None


class SeriesStep(Struct, frozen=True, kw_only=True):
    """One drill of one day with its dose of that day; what the drill is stands in `drills`."""

    drill: str
    sides: tuple[SideDose, ...]
    reps: int
    hold_s: int | None
    rest_s: int
    effort: int
    seconds: int


class SeriesSession(Struct, frozen=True, kw_only=True):
    """One day. `value` is the part of what was seen that it addresses, given the earlier ones."""

    day: int
    minutes: float
    value: float
    same_as_day: int | None
    """The first day with the same steps in the same doses, if there was one."""
    steps: tuple[SeriesStep, ...]


class RungPlace(Struct, frozen=True, kw_only=True):
    """Where the client stands on one ladder in a week."""

    ladder: str
    drill: str
    name: str
    place: int
    of: int
    weeks: int
    """Weeks on this rung, this one included."""


class SeriesChange(Struct, frozen=True, kw_only=True):
    """Something that is different from the week before, or that waits."""

    code: Literal[
        "helper_away",
        "lighter",
        "more_reps",
        "pauses",
        "rung_up",
        "rung_waits",
        "same",
        "starts",
        "swapped",
    ]
    text: str
    drill: str | None
    was: str | None
    """The drill that it takes the place of."""
    rule: str | None
    sources: tuple[str, ...]


class SeriesWeek(Struct, frozen=True, kw_only=True):
    """One week: what is new in it, where the ladders stand, and its sessions by day."""

    week: int
    from_day: int
    to_day: int
    lighter: bool
    provisional: bool
    """Lies beyond the first retest: what that shows may change it."""
    why: str | None
    """Why it is provisional."""
    value: float
    changes: tuple[SeriesChange, ...]
    rungs: tuple[RungPlace, ...]
    sessions: tuple[SeriesSession, ...]


class SeriesDrill(Struct, frozen=True, kw_only=True):
    """A drill of the series, said once: how it is done, on which rung, and when to move."""

    drill: str
    name: str
    aim: Aim
    serves: tuple[str, ...]
    """Causes that it trains and that weigh today, heaviest first."""
    kit: tuple[str, ...]
    tempo: Tempo | None
    times_a_week: int
    cues: tuple[str, ...]
    good_looks_like: str
    stop_when: str
    ladder: str | None
    move_up_when: str | None
    move_down_when: str | None
    weeks: tuple[int, ...]
    """The weeks in which it is done."""


class Criterion(Struct, frozen=True, kw_only=True):
    """What must be true to move on, to stay or to step back, whatever the drill."""

    rule: str
    text: str
    sources: tuple[str, ...]


class RetestDay(Struct, frozen=True, kw_only=True):
    """What to look at again on one day, before that day's session."""

    day: int
    retest: tuple[Retest, ...]


class SeriesNote(Struct, frozen=True, kw_only=True):
    """Something to know about the whole series: a limit, or what is not certain."""

    code: str
    text: str
    rule: str | None
    sources: tuple[str, ...]


class SeriesAnswer(Struct, frozen=True, kw_only=True):
    """The weeks ahead, each session the best one given those before it."""

    verdict: Verdict
    summary: str
    ref: str | None
    target: TargetId | None
    value: float
    weeks: tuple[SeriesWeek, ...]
    drills: tuple[SeriesDrill, ...]
    criteria: tuple[Criterion, ...]
    retests: tuple[RetestDay, ...]
    look_at: tuple[LookAt, ...]
    notes: tuple[SeriesNote, ...]
    referrals: tuple[Referral, ...]
    cautions: tuple[CautionAnswer, ...]
    warnings: tuple[Warning, ...]
    made_by: MadeBy
    decision: str
    """SHA-256 that names the screen decided on, as in a plan."""
