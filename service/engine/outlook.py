"""What comes after today's drills: into the lift, and what to look at again."""

from service.engine.because import Look, looks_of
from service.engine.kept import Bounded, Keeper
from service.engine.measured import Measured
from service.engine.read import Seen
from service.engine.reasons import Facts
from service.engine.rules import rule_of
from service.engine.words import KEPT_AT_MOST, Spoken, Words
from service.model.answer import Retest, Step
from service.model.graph import Graph
from service.model.knowledge import Method
from service.model.quantities import MICRO, Mode, Side
from service.model.screen import Screen

MOST = 3
"""How many findings are looked at again: the trainer has minutes."""

CUES = ("spoken_cue", "touch_cue")
"""Changes that a coach takes away again in the lift."""


def carry_over(facts: Facts, words: Words, steps: tuple[Step, ...]) -> tuple[str, ...]:
    """Return how to take today into the lift, and how the help is taken away again."""
    target = facts.reading.target
    if target is None or not steps:
        return ()
    graph, weighing = facts.graph, facts.weighing
    said = [words.say("carry_lift", target=words.movement(target))]
    drills, kit = graph.drills, graph.kit
    helpers = [drills[step.drill].helper for step in steps]
    if [helper for helper in helpers if helper is not None and helper in kit]:
        said.append(words.say("carry_helper"))
    cues = [change for change in CUES if change in weighing.worked]
    said += [words.say("carry_cue", change=words.change(cue)) for cue in cues]
    if weighing.verdict == "practise":
        other = graph.movements[target].on_one_leg
        if other is not None and other in graph.movements:
            said.append(words.say("carry_one_leg", movement=words.movement(other)))
    return tuple(said) + accommodations(facts)


def accommodations(facts: Facts) -> tuple[str, ...]:
    """Return the advice of each stance or build cause that weighs, heaviest first."""
    weights = facts.weighing.by_cause
    found = [(-weights[n], advice) for n, advice in _ADVICE.of(facts.graph) if weights[n]]
    if not found:
        return ()
    rule = rule_of(facts.graph, "practice_step")
    floor = -(rule.numbers["least_percent"] * MICRO // 100)
    return tuple([advice for weight, advice in sorted(found) if weight <= floor])


def _advice(graph: Graph) -> tuple[tuple[int, str], ...]:
    """Return the variables whose causes have advice, with it."""
    causes = enumerate(graph.causes.values())
    return tuple([(n, cause.advice) for n, cause in causes if cause.advice])


_ADVICE = Keeper(_advice)


def _none_told(_spoken: Spoken) -> Bounded[list[Retest]]:
    return Bounded(KEPT_AT_MOST)


_TOLD = Keeper(_none_told)
"""Retests by what is looked at or measured again, in one language: the pack alone says them."""


def retests(facts: Facts, screen: Screen, words: Words) -> tuple[Retest, ...]:
    """Return what to look at again: the heaviest findings, then each measurement that spoke."""
    reading = facts.reading
    positives, measured = reading.positives, reading.measured
    weighed = []
    for n, sighting in enumerate(reading.evidence.sightings):
        relevance = sighting.relevance
        if relevance > 0:
            weighed.append((-relevance, sighting.event, positives[n]))
    found: list[Retest] = []
    if weighed:
        # INVARIANT: no event is seen twice, so that what was seen is never compared
        weighed.sort()
        weeks = facts.graph.decision.retest_weeks[_leading_mode(facts)]
        for _, _, seen in weighed[:MOST]:
            found += _look_again(facts.graph, seen, weeks, words)
    if measured:
        for one in _spoke(measured):
            found += _measure_again(facts.graph, one, screen, words)
    return tuple(found)


def _spoke(measured: tuple[Measured, ...]) -> list[Measured]:
    """Return each measure and side once."""
    done: set[tuple[str, Side]] = set()
    found = []
    for m in measured:
        if (m.measure, m.side) not in done:
            done.add((m.measure, m.side))
            found.append(m)
    return found


def _look_again(graph: Graph, seen: Seen, weeks: int, words: Words) -> list[Retest]:
    """Return when to look again at what was seen: today, and after so many weeks."""
    known, made_of = _TOLD.of(words.spoken), (seen.event, seen.view, weeks)
    again = known.get(made_of)
    if again is None:
        look = looks_of(words).of(words, seen)
        today = _again(graph, "retest_today", look, 0, words)
        later = _again(graph, "retest_weeks", look, weeks, words)
        again = known.keep(made_of, [today, later])
    return again


def _again(graph: Graph, code: str, look: Look, weeks: int, words: Words) -> Retest:
    text = words.say(
        code,
        movement=look.in_movement,
        view=look.in_view,
        finding=look.of_finding,
        side=look.on_side,
        weeks=words.weeks(weeks),
    )
    return Retest(
        text=text,
        movement=look.movement,  # type: ignore[arg-type]
        view=look.view,
        finding=look.finding,  # type: ignore[arg-type]
        measure=None,
        side=look.side,
        weeks=weeks,
        mdc95=None,
        unit=None,
        sources=graph.decision.sources,
    )


class Modes:
    """The modes of the causes in their order, and by variable which of them its cause has."""

    def __init__(self, graph: Graph) -> None:
        own = [graph.causes[one.id].mode for one in graph.network.variables]
        self.names: list[Mode] = sorted(set(own))
        self.of = [self.names.index(mode) for mode in own]


_MODES = Keeper(Modes)


def _leading_mode(facts: Facts) -> Mode:
    """Return the mode that carries most weight, by which the time of a change is expected.

    The first by name where none carries any or two carry the same.
    """
    modes = _MODES.of(facts.graph)
    of = modes.of
    sums = [0] * len(modes.names)
    for variable, weight in enumerate(facts.weighing.by_cause):
        if weight:
            sums[of[variable]] += weight
    return modes.names[sums.index(max(sums))]


def _measure_again(graph: Graph, m: Measured, screen: Screen, words: Words) -> list[Retest]:
    """Return when to measure again, and how large a change is more than noise."""
    measure, side = m.measure, m.side
    same = False
    for one in screen.measurements:
        if one.measure == measure and one.side in (side, "both") and one.same_rater:
            same = True
    known, made_of = _TOLD.of(words.spoken), (measure, m.method, side, same)
    again = known.get(made_of)
    if again is None:
        again = known.keep(made_of, [_measured_again(graph, m, same, words)])
    return again


def _measured_again(graph: Graph, m: Measured, same_rater: bool, words: Words) -> Retest:
    record = graph.measures[m.measure]
    method = next(one for one in record.methods if one.id == m.method)
    mdc = _noise(method, same_rater)
    known = "retest_measure" if same_rater else "retest_measure_other"
    code = known if mdc is not None else "retest_measure_unknown"
    text = words.say(
        code,
        measure=words.name(record.name),
        side=words.side(m.side),
        weeks=words.weeks(record.weeks),
        mdc=words.number(mdc or 0.0),
        unit=words.unit(m.unit),
    )
    return Retest(
        text=text,
        movement=None,
        view=None,
        finding=None,
        measure=m.measure,  # type: ignore[arg-type]
        side=m.side,
        weeks=record.weeks,
        mdc95=mdc,
        unit=m.unit,
        sources=(method.source,),
    )


def _noise(method: Method, same_rater: bool) -> float | None:
    """Return the change that noise alone rarely makes; rater unknown takes the larger."""
    values = [method.mdc95] if same_rater else [method.mdc95, method.mdc95_other]
    return max((v for v in values if v is not None), default=None)
