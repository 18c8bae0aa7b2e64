"""The dose of a drill on a day: that of its level, a little more with the weeks, or lighter.

Apart from the course because choosing counts every drill at its dose; what is added later must
fit into the minutes that a session leaves.
"""

from service.engine.series.course import Day, Week
from service.engine.series.pace import Pace
from service.model.answer import SideDose
from service.model.graph import Graph
from service.model.knowledge import DrillRecord
from service.model.series import SeriesStep

GROWING = ("control", "transfer")
"""The aims whose doses change with the weeks."""


def steps_of(
    made: Day, week: Week, graph: Graph, pace: Pace, minutes: int
) -> tuple[SeriesStep, ...]:
    """Return the steps of a session with their doses; repetitions are added in order of steps."""
    steps = []
    left = 60 * minutes - made.choice.seconds
    for option, offered in made.picked():
        drill, dose = graph.drills[offered.drill], offered.dose
        step = SeriesStep(
            drill=drill.id,
            sides=offered.sides,
            reps=dose.reps,
            hold_s=dose.hold_s or None,
            rest_s=dose.rest_s,
            effort=dose.effort,
            seconds=option.seconds,
        )
        if drill.aim in GROWING and not drill.stretches:
            if week.lighter:
                step = _lighter(step, drill, pace.fewer_sets)
            else:
                wanted = pace.more_reps * week.weeks_on.get(drill.id, 0)
                step = _longer(step, drill, min(pace.most_more_reps, wanted), left)
        left -= max(0, step.seconds - option.seconds)
        steps.append(step)
    return tuple(steps)


def _one_rep_s(step: SeriesStep, drill: DrillRecord) -> int:
    return drill.lower_s + drill.pause_s + drill.lift_s + (step.hold_s or 0)


def _longer(step: SeriesStep, drill: DrillRecord, more: int, left: int) -> SeriesStep:
    """Return the step with as many of the further repetitions as the seconds left allow."""
    each = _one_rep_s(step, drill) * sum(side.sets for side in step.sides)
    fits = min(more, left // each) if each else 0
    return _with(step, step.sides, step.reps + fits, step.seconds + fits * each)


def _lighter(step: SeriesStep, drill: DrillRecord, fewer: int) -> SeriesStep:
    """Return the step with fewer sets on each side, one at the least."""
    sides = tuple(SideDose(side=one.side, sets=max(1, one.sets - fewer)) for one in step.sides)
    sets = sum(one.sets for one in step.sides) - sum(one.sets for one in sides)
    rests = max(one.sets for one in step.sides) - max(one.sets for one in sides)
    saved = sets * step.reps * _one_rep_s(step, drill) + rests * step.rest_s
    return _with(step, sides, step.reps, step.seconds - saved)


def _with(step: SeriesStep, sides: tuple[SideDose, ...], reps: int, seconds: int) -> SeriesStep:
    return SeriesStep(
        drill=step.drill,
        sides=sides,
        reps=reps,
        hold_s=step.hold_s,
        rest_s=step.rest_s,
        effort=step.effort,
        seconds=seconds,
    )
