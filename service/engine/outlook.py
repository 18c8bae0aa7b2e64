"""What comes after today's drills: into the lift, what to look at first, what to look at again."""

from collections.abc import Iterator
from itertools import chain, islice

from service.engine.measured import Measured
from service.engine.read import Seen
from service.engine.reasons import Facts
from service.engine.words import Words
from service.model.answer import CauseAnswer, LookAt, Retest, Step
from service.model.knowledge import Method
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
    records = enumerate(facts.graph.causes.values())
    found = [(-weights[n], cause.advice) for n, cause in records if weights[n] and cause.advice]
    rule = next(r for r in facts.graph.rules.values() if r.kind == "practice_step")
    floor = -(rule.numbers["least_percent"] * MICRO // 100)
    return tuple(advice for weight, advice in sorted(found) if weight <= floor)


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
    weighed = list(zip(reading.evidence.sightings, reading.positives, strict=True))
    if not weighed:
        return
    _, seen = max(weighed, key=lambda pair: (pair[0].relevance, -pair[0].event))
    key = graph.events[seen.event]
    tried = {trial.change for trial in seen.trials}
    parents = graph.network.events[seen.event].parents
    spread = []
    for change in graph.changes.values():
        usable = key.movement in change.movements and change.id not in tried
        if not usable or (screen.setting == "remote" and not change.remote):
            continue
        if not set(change.kit) <= set(screen.kit):
            continue
        at = graph.change_of[change.id]
        telling = max(
            (
                facts.weighing.by_side.get((p.variable, p.mask), 0) * (1 - p.persists[at])
                for p in parents
            ),
            default=0.0,
        )
        spread.append((-telling, change))
    for _, change in sorted(spread, key=lambda pair: (round(pair[0], 3), pair[1].id)):
        text = words.say(
            "look_change",
            movement=words.name(graph.movements[key.movement].name),
            change=words.name(change.name),
            how=change.how,
        )
        yield LookAt(
            text=text,
            movement=key.movement,  # type: ignore[arg-type]
            view=seen.view,
            finding=key.finding,  # type: ignore[arg-type]
            change=change.id,  # type: ignore[arg-type]
            measure=None,
        )


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
        record = graph.movements[movement]
        for look in record.look_for:
            if (movement, look.finding) in looked or look.finding not in graph.findings:
                continue
            text = words.say(
                "look_finding",
                movement=words.name(record.name),
                view=words.say(f"view_{look.views[0]}"),
                finding=words.name(graph.findings[look.finding].name),
            )
            yield LookAt(
                text=text,
                movement=movement,  # type: ignore[arg-type]
                view=look.views[0],
                finding=look.finding,
                change=None,
                measure=None,
            )


def _measures(
    facts: Facts, screen: Screen, causes: tuple[CauseAnswer, ...], words: Words
) -> Iterator[LookAt]:
    """Yield one measure of the leading causes that the kit allows and nobody has taken."""
    graph = facts.graph
    taken = {m.measure for m in facts.reading.measured}
    for cause in causes[:MOST]:
        for measure in graph.measures.values():
            speaks = any(s.cause == cause.cause for s in measure.speaks_for)
            method = next(m for m in measure.methods if m.id == measure.default_method)
            if not speaks or measure.id in taken or measure.silent:
                continue
            if set(method.kit) <= set(screen.kit):
                text = words.say("look_measure", measure=words.name(measure.name), how=method.how)
                yield LookAt(
                    text=text,
                    movement=None,
                    view=None,
                    finding=None,
                    change=None,
                    measure=measure.id,  # type: ignore[arg-type]
                )
                return


def retests(facts: Facts, screen: Screen, words: Words) -> tuple[Retest, ...]:
    """Return what to look at again: the heaviest findings, then each measurement that spoke."""
    reading = facts.reading
    pairs = zip(reading.evidence.sightings, reading.positives, strict=True)
    weighed = [(-s.relevance, s.event, seen) for s, seen in pairs if s.relevance > 0]
    weeks = facts.graph.decision.retest_weeks[_leading_mode(facts)]
    found = [
        again
        for _, _, seen in sorted(weighed, key=lambda t: t[:2])[:MOST]
        for again in _look_again(facts, seen, weeks, words)
    ]
    return (*found, *(_measure_again(facts, m, screen, words) for m in _spoke(reading.measured)))


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
        text = words.say(
            code,
            movement=words.name(graph.movements[key.movement].name),
            view=words.say(f"view_{seen.view}"),
            finding=words.name(graph.findings[key.finding].name),
            side=words.side(key.side),
            weeks=when,
        )
        yield Retest(
            text=text,
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


def _leading_mode(facts: Facts) -> Mode:
    """Return the mode that carries most weight, by which the time of a change is expected."""
    causes, variables = facts.graph.causes, facts.graph.network.variables
    sums: dict[Mode, int] = {}
    for variable, weight in enumerate(facts.weighing.by_cause):
        if weight:
            mode = causes[variables[variable].id].mode
            sums[mode] = sums.get(mode, 0) + weight
    if not sums:
        return min(cause.mode for cause in causes.values())
    return max(sorted(sums), key=lambda mode: sums[mode])


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
        weeks=record.weeks,
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
