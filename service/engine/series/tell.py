"""The weeks in words: what changes in each, where the ladders stand, and each drill once.

Apart from the course because the course is numbers and ids, and from what is uncertain because
here only what is planned is said.
"""

from collections.abc import Iterator

from msgspec import Struct

from service.engine.reasons import Facts
from service.engine.series.course import Week
from service.engine.series.doses import steps_of
from service.engine.series.moves import Move
from service.engine.series.pace import WEEK, pace_of, rule_of
from service.engine.words import Words
from service.model.answer import Retest, Tempo
from service.model.graph import Graph
from service.model.knowledge import DrillRecord, LadderRecord
from service.model.quantities import MICRO
from service.model.screen import Screen
from service.model.series import (
    RungPlace,
    SeriesChange,
    SeriesDrill,
    SeriesSession,
    SeriesStep,
    SeriesWeek,
)

RULES = {
    "helper_away": "rung_progression",
    "lighter": "lighter_week",
    "more_reps": "dose_progression",
    "rung_up": "rung_progression",
    "rung_waits": "rung_progression",
    "swapped": "variation",
}
"""The kind of rule behind each change; the others follow from the choice."""
Steps = tuple[SeriesStep, ...]


class Series(Struct, frozen=True, kw_only=True, gc=False):
    """What was asked and what was decided; `retests` are those in weeks to come."""

    graph: Graph
    screen: Screen
    asked_weeks: int
    sessions: int
    course: tuple[Week, ...]
    retests: tuple[Retest, ...]

    @property
    def first_retest(self) -> int | None:
        """Weeks until the first retest."""
        return min((one.weeks for one in self.retests), default=None)


def weeks_of(made: Series, words: Words) -> tuple[SeriesWeek, ...]:
    """Return the weeks, each with what differs from the last full week before it."""
    pace = pace_of(made.graph, made.screen.client.level)
    first_day: dict[Steps, int] = {}
    # the last week that was not a lighter one, and its doses
    full = 0
    before: tuple[Steps, ...] | None = None
    found = []
    for week in made.course:
        sessions, dosed = [], []
        for day in week.days:
            steps = steps_of(day, week, made.graph, pace, made.screen.minutes)
            dosed.append(steps)
            sessions.append(
                SeriesSession(
                    day=day.day,
                    minutes=round(sum(step.seconds for step in steps) / 60, 1),
                    value=day.choice.value / MICRO,
                    same_as_day=first_day.get(steps),
                    steps=steps,
                )
            )
            first_day.setdefault(steps, day.day)
        changes = _changes(week, tuple(dosed), before, full, made.graph, words)
        found.append(_week(made, week, tuple(sessions), changes, words))
        if not week.lighter:
            before, full = tuple(dosed), week.week
    return tuple(found)


def _week(
    made: Series,
    week: Week,
    sessions: tuple[SeriesSession, ...],
    changes: tuple[SeriesChange, ...],
    words: Words,
) -> SeriesWeek:
    first = made.first_retest
    provisional = first is not None and week.week > first
    return SeriesWeek(
        week=week.week,
        from_day=WEEK * (week.week - 1) + 1,
        to_day=WEEK * week.week,
        lighter=week.lighter,
        provisional=provisional,
        why=words.say("series_provisional", day=WEEK * (first or 0) + 1) if provisional else None,
        value=round(sum(one.value for one in sessions), 6),
        changes=changes,
        rungs=_rungs(made.graph, week),
        sessions=sessions,
    )


def _rungs(graph: Graph, week: Week) -> tuple[RungPlace, ...]:
    """Return where each ladder of the week's drills stands, by ladder."""
    done = {one.drill for day in week.days for _, one in day.picked()}
    found = []
    for ladder in graph.ladders.values():
        for place, rung in enumerate(ladder.rungs, 1):
            if rung in done:
                found.append(
                    RungPlace(
                        ladder=ladder.id,
                        drill=rung,
                        name=graph.drills[rung].name,
                        place=place,
                        of=len(ladder.rungs),
                        weeks=week.weeks_on.get(rung, 0) + 1,
                    )
                )
    return tuple(found)


# --- what changes -------------------------------------------------------------------------


def _changes(
    week: Week,
    dosed: tuple[Steps, ...],
    before: tuple[Steps, ...] | None,
    full: int,
    graph: Graph,
    words: Words,
) -> tuple[SeriesChange, ...]:
    """Return what differs from the last full week; nothing for the first."""
    if before is None:
        return ()
    if week.lighter:
        return (_change(graph, words, "lighter", None, None),)
    now, then = _reps(dosed), _reps(before)
    found = [_moved(graph, words, move) for move in week.moves if _is_seen(move, now)]
    gone = {move.was for move in week.moves if move.code != "rung_waits"}
    come = {move.drill for move in week.moves if move.code != "rung_waits"}
    starts, pauses = now.keys() - then.keys() - come, then.keys() - now.keys() - gone
    more = [drill for drill in sorted(now.keys() & then.keys()) if now[drill] > then[drill]]
    found += [_change(graph, words, "starts", drill, None) for drill in sorted(starts)]
    found += [_change(graph, words, "pauses", drill, None) for drill in sorted(pauses)]
    found += [_change(graph, words, "more_reps", drill, None, reps=now[drill]) for drill in more]
    if not found and dosed == before:
        found = [_change(graph, words, "same", None, None, week=full)]
    return tuple(found)


def _reps(dosed: tuple[Steps, ...]) -> dict[str, int]:
    """Return the most repetitions of each drill in a week."""
    reps: dict[str, int] = {}
    for steps in dosed:
        for step in steps:
            reps[step.drill] = max(step.reps, reps.get(step.drill, 0))
    return reps


def _is_seen(move: Move, now: dict[str, int]) -> bool:
    """Say if the week shows the move: what takes a place may itself find none."""
    return move.was in now if move.code == "rung_waits" else move.drill in now


def _moved(graph: Graph, words: Words, move: Move) -> SeriesChange:
    reason = words.say(f"series_waits_{move.waits}") if move.waits else ""
    ladder = ladder_of(graph, move.was)
    when = ladder.move_up_when if ladder else ""
    return _change(graph, words, move.code, move.drill, move.was, reason=reason, when=when)


def _change(
    graph: Graph, words: Words, code: str, drill: str | None, was: str | None, **values: object
) -> SeriesChange:
    rule = rule_of(graph, RULES[code]) if code in RULES else None
    values["drill"] = words.name(graph.drills[drill].name) if drill else ""
    values["was"] = words.name(graph.drills[was].name) if was else ""
    text = words.say(f"series_{code}", **values)
    return SeriesChange(
        code=code,  # type: ignore[arg-type]
        text=capital(text),
        drill=drill,
        was=was,
        rule=rule.id if rule else None,
        sources=rule.sources if rule else (),
    )


# --- each drill once ----------------------------------------------------------------------


def ladder_of(graph: Graph, drill: str) -> LadderRecord | None:
    """Return the ladder that a drill is a rung of, None where it stands alone."""
    return next((one for one in graph.ladders.values() if drill in one.rungs), None)


def drills_of(made: Series, facts: Facts, words: Words) -> tuple[SeriesDrill, ...]:
    """Return every drill of the series, in the order in which a client meets them."""
    weeks: dict[str, list[int]] = {}
    kit: dict[str, tuple[str, ...]] = {}
    for week in made.course:
        for day in week.days:
            for _, one in day.picked():
                seen = weeks.setdefault(one.drill, [])
                seen += [week.week] if seen[-1:] != [week.week] else []
                kit[one.drill] = one.kit
    return tuple(
        _drill(made, facts, made.graph.drills[drill], kit[drill], tuple(found), words)
        for drill, found in weeks.items()
    )


def _drill(
    made: Series,
    facts: Facts,
    drill: DrillRecord,
    kit: tuple[str, ...],
    weeks: tuple[int, ...],
    words: Words,
) -> SeriesDrill:
    graph = made.graph
    ladder = ladder_of(graph, drill.id)
    moving = drill.lower_s + drill.pause_s + drill.lift_s > 0
    in_room = made.screen.setting == "in_person" and drill.touch_cue
    return SeriesDrill(
        drill=drill.id,
        name=drill.name,
        aim=drill.aim,
        serves=tuple(_serves(facts, drill)),
        kit=kit,
        tempo=Tempo(lower_s=drill.lower_s, pause_s=drill.pause_s, lift_s=drill.lift_s)
        if moving
        else None,
        times_a_week=graph.doses[drill.dose].times_a_week,
        cues=(drill.cue, drill.touch_cue) if in_room else (drill.cue,),
        good_looks_like=drill.good_looks_like,
        stop_when=drill.stop_when,
        ladder=ladder.id if ladder else None,
        move_up_when=ladder.move_up_when if ladder else None,
        move_down_when=ladder.move_down_when if ladder else None,
        weeks=weeks,
    )


def _serves(facts: Facts, drill: DrillRecord) -> Iterator[str]:
    """Yield the causes that weigh and that the drill trains, heaviest first."""
    weights = facts.weighing.by_cause
    found = [(-weights[facts.graph.variable_of[t.cause]], t.cause) for t in drill.trains]
    yield from (cause for weight, cause in sorted(found) if weight < 0)


def capital(text: str) -> str:
    """Return a sentence that begins with a capital."""
    return text[:1].upper() + text[1:]
