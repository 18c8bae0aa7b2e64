"""What comes after today's drills: into the lift, what to look at first, what to look at again."""

from collections.abc import Iterator
from itertools import chain, islice

from service.engine.kept import Keeper
from service.engine.measured import Measured
from service.engine.read import Seen
from service.engine.reasons import Facts
from service.engine.rules import rule_of
from service.engine.weigh import touched_by
from service.engine.words import Words
from service.model.answer import CauseAnswer, LookAt, Retest, Step
from service.model.graph import Graph
from service.model.knowledge import ChangeRecord, Look, MeasureRecord, Method
from service.model.quantities import MICRO, Mode, Side
from service.model.screen import Screen

MOST = 3
"""How many findings, changes or retests are named: the trainer has minutes."""


def carry_over(facts: Facts, words: Words, steps: tuple[Step, ...]) -> tuple[str, ...]:
    """Return how to take today into the lift, and how the help is taken away again."""
    target = facts.reading.target
    if target is None or not steps:
        return ()
    movement = facts.graph.movements[target]
    said = [words.say("carry_lift", target=words.name(movement.name))]
    drills = [facts.graph.drills[step.drill] for step in steps]
    if any(drill.helper in facts.graph.kit for drill in drills if drill.helper):
        said.append(words.say("carry_helper"))
    for change in sorted(facts.weighing.worked & {"spoken_cue", "touch_cue"}):
        name = words.name(facts.graph.changes[change].name)
        said.append(words.say("carry_cue", change=name))
    if facts.weighing.verdict == "practise" and movement.on_one_leg in facts.graph.movements:
        name = facts.graph.movements[movement.on_one_leg].name  # type: ignore[index]
        said.append(words.say("carry_one_leg", movement=words.name(name)))
    return (*said, *accommodations(facts))


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


def look_at(
    facts: Facts, screen: Screen, causes: tuple[CauseAnswer, ...], words: Words
) -> tuple[LookAt, ...]:
    """Return what would tell most: changes not yet tried on what was seen, then what was not seen.

    By pack order; expected gains are computed by the next-check route, not here.
    """
    # rendered one by one, so that no sentence is made that is not said
    asked = islice(chain(_changes(facts, screen, words), _findings(facts, words)), MOST)
    return (*asked, *_measures(facts, screen, causes, words))


def _changes(facts: Facts, screen: Screen, words: Words) -> Iterator[LookAt]:
    """Yield untried changes of the heaviest sighting, those that the likeliest causes answer to."""
    graph, reading = facts.graph, facts.reading
    if not reading.positives:
        return
    weighed = zip(reading.evidence.sightings, reading.positives, strict=True)
    _, seen = max(weighed, key=lambda pair: (pair[0].relevance, -pair[0].event))
    key = graph.events[seen.event]
    tried = {trial.change for trial in seen.trials}
    kit, remote = frozenset(screen.kit), screen.setting == "remote"
    weights = _weights_of(facts, seen)
    spread = []
    for change in _CHANGES.of(graph).get(key.movement, ()):
        if change.id in tried:
            continue
        if (remote and not change.remote) or not kit.issuperset(change.kit):
            continue
        at = graph.change_of[change.id]
        telling = max([w * (1 - persists[at]) for w, persists in weights], default=0.0)
        spread.append((round(-telling, 3), change.id))
    for _, told in sorted(spread):
        yield LookAt(
            text=_change_text(graph, key.movement, told, words),
            movement=key.movement,  # type: ignore[arg-type]
            view=seen.view,
            finding=key.finding,  # type: ignore[arg-type]
            change=told,  # type: ignore[arg-type]
            measure=None,
        )


def _by_movement(graph: Graph) -> dict[str, list[ChangeRecord]]:
    """Return the changes that can be tried in each movement."""
    found: dict[str, list[ChangeRecord]] = {}
    for change in graph.changes.values():
        for movement in change.movements:
            found.setdefault(movement, []).append(change)
    return found


_CHANGES = Keeper(_by_movement)


def _weights_of(facts: Facts, seen: Seen) -> list[tuple[int, tuple[float, ...]]]:
    """Return the weight of each cause of what was seen, and how far it persists under changes."""
    by_side = facts.weighing.by_side
    parents = facts.graph.network.events[seen.event].parents
    touched = zip(touched_by(facts.graph)[seen.event], parents, strict=True)
    return [(by_side[where], parent.persists) for where, parent in touched if where in by_side]


def _change_text(graph: Graph, movement: str, change: str, words: Words) -> str:
    made_of = ("look_change", movement, change)
    text = words.kept.get(made_of)
    if text is None:
        record = graph.changes[change]
        said = words.say(
            "look_change",
            movement=words.name(graph.movements[movement].name),
            change=words.name(record.name),
            how=record.how,
        )
        text = words.kept.keep(made_of, said)
    return text


def _findings(facts: Facts, words: Words) -> Iterator[LookAt]:
    """Yield what the target's record looks for and nobody has looked at."""
    graph, reading = facts.graph, facts.reading
    looked = {
        (graph.events[s.event].movement, graph.events[s.event].finding)
        for s in (*reading.positives, *reading.negatives)
    }
    target = reading.target or graph.targets[0]
    ids = [target, *(m for m in graph.targets if graph.movements[m].speaks_for.get(target))]  # type: ignore[call-overload]
    for movement in ids:
        for look in graph.movements[movement].look_for:
            if (movement, look.finding) in looked or look.finding not in graph.findings:
                continue
            yield LookAt(
                text=_finding_text(graph, movement, look, words),
                movement=movement,  # type: ignore[arg-type]
                view=look.views[0],
                finding=look.finding,
                change=None,
                measure=None,
            )


def _finding_text(graph: Graph, movement: str, look: Look, words: Words) -> str:
    made_of = ("look_finding", movement, look.finding, look.views[0])
    text = words.kept.get(made_of)
    if text is None:
        said = words.say(
            "look_finding",
            movement=words.name(graph.movements[movement].name),
            view=words.plain(f"view_{look.views[0]}"),
            finding=words.name(graph.findings[look.finding].name),
        )
        text = words.kept.keep(made_of, said)
    return text


def _measures(
    facts: Facts, screen: Screen, causes: tuple[CauseAnswer, ...], words: Words
) -> Iterator[LookAt]:
    """Yield one measure of the leading causes that the kit allows and nobody has taken."""
    speaking, kit = _SPEAKING.of(facts.graph), frozenset(screen.kit)
    taken = {m.measure for m in facts.reading.measured}
    for cause in causes[:MOST]:
        for measure, method in speaking.get(cause.cause, ()):
            if measure.id not in taken and kit.issuperset(method.kit):
                name = words.name(measure.name)
                yield LookAt(
                    text=words.say("look_measure", measure=name, how=method.how),
                    movement=None,
                    view=None,
                    finding=None,
                    change=None,
                    measure=measure.id,  # type: ignore[arg-type]
                )
                return


_Speaking = dict[str, list[tuple[MeasureRecord, Method]]]


def _speaking(graph: Graph) -> _Speaking:
    """Return the measures that speak for each cause, with the method that is usual."""
    found: _Speaking = {}
    for measure in graph.measures.values():
        if not measure.silent:
            method = next(m for m in measure.methods if m.id == measure.default_method)
            for cause in {s.cause for s in measure.speaks_for}:
                found.setdefault(cause, []).append((measure, method))
    return found


_SPEAKING = Keeper(_speaking)


def retests(facts: Facts, screen: Screen, words: Words) -> tuple[Retest, ...]:
    """Return what to look at again: the heaviest findings, then each measurement that spoke."""
    reading = facts.reading
    pairs = zip(reading.evidence.sightings, reading.positives, strict=True)
    weighed = [(-s.relevance, s.event, seen) for s, seen in pairs if s.relevance > 0]
    # INVARIANT: no event is seen twice, so that what was seen is never compared
    weighed.sort()
    weeks = facts.graph.decision.retest_weeks[_leading_mode(facts)] if weighed else 0
    found: list[Retest] = []
    for _, _, seen in weighed[:MOST]:
        found += _look_again(facts, seen, weeks, words)
    found += [_measure_again(facts, m, screen, words) for m in _spoke(reading.measured)]
    return tuple(found)


def _spoke(measured: tuple[Measured, ...]) -> Iterator[Measured]:
    """Yield each measure and side once."""
    done: set[tuple[str, Side]] = set()
    for m in measured:
        if (m.measure, m.side) not in done:
            done.add((m.measure, m.side))
            yield m


def _look_again(facts: Facts, seen: Seen, weeks: int, words: Words) -> Iterator[Retest]:
    graph = facts.graph
    key = graph.events[seen.event]
    for code, when in (("retest_today", 0), ("retest_weeks", weeks)):
        yield Retest(
            text=_again_text(graph, code, seen, when, words),
            movement=key.movement,  # type: ignore[arg-type]
            view=seen.view,
            finding=key.finding,  # type: ignore[arg-type]
            measure=None,
            side=key.side,
            weeks=when,
            mdc95=None,
            unit=None,
            sources=graph.decision.sources,
        )


def _again_text(graph: Graph, code: str, seen: Seen, weeks: int, words: Words) -> str:
    made_of = (code, seen.event, seen.view, weeks)
    text = words.kept.get(made_of)
    if text is None:
        key = graph.events[seen.event]
        said = words.say(
            code,
            movement=words.name(graph.movements[key.movement].name),
            view=words.plain(f"view_{seen.view}"),
            finding=words.name(graph.findings[key.finding].name),
            side=words.side(key.side),
            weeks=words.weeks(weeks),
        )
        text = words.kept.keep(made_of, said)
    return text


def _leading_mode(facts: Facts) -> Mode:
    """Return the mode that carries most weight, by which the time of a change is expected."""
    causes, variables = facts.graph.causes, facts.graph.network.variables
    sums: dict[Mode, int] = {}
    for (variable, _), weight in facts.weighing.by_side.items():
        mode = causes[variables[variable].id].mode
        sums[mode] = sums.get(mode, 0) + weight
    if not sums:
        return min(cause.mode for cause in causes.values())
    return max(sorted(sums), key=sums.__getitem__)


def _measure_again(facts: Facts, m: Measured, screen: Screen, words: Words) -> Retest:
    record = facts.graph.measures[m.measure]
    method = next(one for one in record.methods if one.id == m.method)
    same = any(
        one.measure == m.measure and one.side in (m.side, "both") and one.same_rater
        for one in screen.measurements
    )
    mdc = _noise(method, same)
    known = "retest_measure" if same else "retest_measure_other"
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
