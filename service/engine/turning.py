"""What would turn the plan: of each kind the smallest single change of the screen, proven.

Apart from the checks because these ask what might still be learnt; here nothing is uncertain:
one thing that was sent is sent differently, and the plan is made again.
"""

from collections.abc import Callable, Iterator
from typing import Literal, TypeAlias

import msgspec

from service.engine.decide import Decided, decide, decide_again, first_drill
from service.engine.measured import reference_of
from service.engine.reasons import Facts, leading_cause
from service.engine.words import Words
from service.model.answer import Answer, TurningPoint
from service.model.graph import Graph
from service.model.quantities import Grade, Level, Result, Side
from service.model.records import Frozen
from service.model.screen import Measurement, Observation, Screen

Kind: TypeAlias = Literal[
    "grade", "kit", "level", "measurement", "minutes", "setting", "side", "trial_result"
]
KINDS: tuple[Kind, ...] = (
    "grade", "kit", "level", "measurement", "minutes", "setting", "side", "trial_result",
)  # fmt: skip
ROOM: frozenset[Kind] = frozenset({"kit", "level", "minutes"})
"""Kinds that say nothing of the body."""
GRADES: tuple[Grade, ...] = ("absent", "mild", "marked")
RESULTS: tuple[Result, ...] = ("gone", "better", "same", "worse")
SIDES: tuple[Side, ...] = ("left", "right", "both")
LEVELS: tuple[Level, ...] = ("new", "regular", "advanced")
LONGEST, SHORTEST = 120, 1
MOST_STEPS = 40
QUARTER = 4
"""A measure without a published error moves in quarters of the spread of people."""

Planner = Callable[[Screen, Graph], Answer]


class Variation(Frozen, frozen=True, kw_only=True):
    """One change of a screen: the screen after it, what was changed, and how far."""

    kind: Kind
    screen: Screen
    distance: int
    was: str
    becomes: str
    seen: Observation | None = None
    change: str | None = None
    measured: Measurement | None = None
    kit: str | None = None

    @property
    def key(self) -> tuple[int, str, bytes, str]:
        """What orders changes of one kind: the smallest first, then by what they change."""
        subject = msgspec.json.encode((self.seen, self.measured, self.change, self.kit))
        return self.distance, self.becomes, subject, self.was


Gist: TypeAlias = tuple[str, tuple[str, str] | None, str | None]
"""Verdict, leading cause with its side, first drill."""


def gist_of(decided: Decided, graph: Graph) -> Gist:
    """Return what a turning point turns."""
    weighed = decided.weighed
    if weighed is None:
        return "refer", None, None
    facts = Facts(
        graph=graph,
        reading=decided.reading,
        posterior=weighed.posterior,
        weighing=weighed.weighing,
    )
    return decided.verdict, leading_cause(facts), first_drill(decided)


def turning_points(
    decided: Decided, graph: Graph, words: Words, plan: Planner
) -> tuple[TurningPoint, ...]:
    """Return for each kind its smallest change that turns the plan, in the order of kinds.

    A kind whose changes turn nothing has none. Of changes equally small the first by what it
    becomes, then by what it changes. `plan` is what proves each.
    """
    now = gist_of(decided, graph)
    found = []
    for kind in KINDS:
        for variation in sorted(variations(kind, decided.screen, graph), key=lambda v: v.key):
            then = _then(decided, variation, graph, now)
            if then != now:
                found.append(_point(variation, now, graph, words, plan))
                break
    return tuple(found)


def _then(decided: Decided, variation: Variation, graph: Graph, now: Gist) -> Gist:
    if variation.kind not in ROOM:
        return gist_of(decide(variation.screen, graph), graph)
    again = decide_again(decided, variation.screen, graph)
    if again.weighed is None or decided.weighed is None:
        return gist_of(again, graph)
    return again.verdict, now[1], first_drill(again)


def variations(kind: Kind, screen: Screen, graph: Graph) -> Iterator[Variation]:
    """Yield every single change of one kind."""
    if kind in ("grade", "side", "trial_result"):
        for at, seen in enumerate(screen.observations):
            for distance, other, was, becomes, change in _observed(kind, seen, graph):
                observations = (*screen.observations[:at], other, *screen.observations[at + 1 :])
                yield Variation(
                    kind=kind,
                    screen=msgspec.structs.replace(screen, observations=observations),
                    distance=distance,
                    was=was,
                    becomes=becomes,
                    seen=seen,
                    change=change,
                )
    elif kind == "measurement":
        yield from _measured(screen, graph)
    elif kind == "minutes":
        for minutes in range(SHORTEST, LONGEST + 1):
            if minutes != screen.minutes:
                then = msgspec.structs.replace(screen, minutes=minutes)
                yield _room(kind, then, abs(minutes - screen.minutes), screen.minutes, minutes)
    elif kind == "kit":
        yield from _kit(screen, graph)
    elif kind == "level":
        was = screen.client.level
        for level in LEVELS:
            if level != was:
                client = msgspec.structs.replace(screen.client, level=level)
                then = msgspec.structs.replace(screen, client=client)
                yield _room(kind, then, abs(LEVELS.index(level) - LEVELS.index(was)), was, level)
    else:
        setting = "remote" if screen.setting == "in_person" else "in_person"
        then = msgspec.structs.replace(screen, setting=setting)
        yield _room(kind, then, 1, screen.setting, setting)


def _room(kind: Kind, screen: Screen, distance: int, was: object, becomes: object) -> Variation:
    return Variation(
        kind=kind, screen=screen, distance=distance, was=str(was), becomes=str(becomes)
    )


_Change: TypeAlias = tuple[int, Observation, str, str, str | None]
"""Distance, observation after it, was, becomes, the change of a trial."""


def _observed(kind: Kind, seen: Observation, graph: Graph) -> Iterator[_Change]:
    if kind == "grade":
        for grade in GRADES:
            far = abs(GRADES.index(grade) - GRADES.index(seen.grade))
            if far:
                yield far, msgspec.structs.replace(seen, grade=grade), seen.grade, grade, None
    elif kind == "side":
        finding = graph.findings.get(seen.finding)
        if finding is None or not finding.sided:
            return
        for side in SIDES:
            if side != seen.side:
                yield 1, msgspec.structs.replace(seen, side=side), seen.side, side, None
    else:
        for n, trial in enumerate(seen.trials):
            for result in RESULTS:
                far = abs(RESULTS.index(result) - RESULTS.index(trial.result))
                if far:
                    other = msgspec.structs.replace(trial, result=result)
                    trials = (*seen.trials[:n], other, *seen.trials[n + 1 :])
                    then = msgspec.structs.replace(seen, trials=trials)
                    yield far, then, trial.result, result, trial.change


def _measured(screen: Screen, graph: Graph) -> Iterator[Variation]:
    """Yield each measurement moved by whole steps of its own error, as far as it is plausible."""
    for at, one in enumerate(screen.measurements):
        step = step_of(one, screen, graph)
        record = graph.measures.get(one.measure)
        if step is None or record is None:
            continue
        for count in range(1, MOST_STEPS + 1):
            for signed in (-count, count):
                value = round(one.value + signed * step, 1)
                if not record.lowest <= value <= record.highest:
                    continue
                other = msgspec.structs.replace(one, value=value)
                measurements = (*screen.measurements[:at], other, *screen.measurements[at + 1 :])
                yield Variation(
                    kind="measurement",
                    screen=msgspec.structs.replace(screen, measurements=measurements),
                    distance=count,
                    was=f"{one.value:g}",
                    becomes=f"{value:g}",
                    measured=one,
                )


def step_of(one: Measurement, screen: Screen, graph: Graph) -> float | None:
    """Return the step by which a measurement is moved: its method's error, to a tenth."""
    record = graph.measures.get(one.measure)
    if record is None or record.silent or one.unit != record.unit:
        return None
    wanted = one.method or record.default_method
    methods = [m for m in record.methods if m.id in (wanted, record.default_method)]
    method = min(methods, key=lambda m: m.id != wanted)
    reference = reference_of(record, method.id, screen.client)
    if reference is None:
        return None
    return max(0.1, round(method.sem or reference.sd / QUARTER, 1))


def _kit(screen: Screen, graph: Graph) -> Iterator[Variation]:
    """Yield one piece of kit more, and one less."""
    held = set(screen.kit)
    for one in graph.kit:
        if one in held:
            kit = tuple(k for k in screen.kit if k != one)
            was, becomes = one, ""
        else:
            kit = (*screen.kit, one)
            was, becomes = "", one
        then = msgspec.structs.replace(screen, kit=kit)
        yield Variation(kind="kit", screen=then, distance=1, was=was, becomes=becomes, kit=one)


# --- in words --------------------------------------------------------------------------------


def _point(
    variation: Variation, now: Gist, graph: Graph, words: Words, plan: Planner
) -> TurningPoint:
    """Return the turning point, with the answer that the changed screen gets."""
    answer = plan(variation.screen, graph)
    lead = answer.causes[0] if answer.causes else None
    first = answer.session.steps[0] if answer.session else None
    then: Gist = (
        answer.verdict,
        (lead.cause, lead.side) if lead else None,
        first.drill if first else None,
    )
    names: tuple[Literal["verdict", "leading_cause", "first_step"], ...] = (
        "verdict",
        "leading_cause",
        "first_step",
    )
    turns = tuple(n for n, a, b in zip(names, now, then, strict=True) if a != b)
    said = {
        "verdict": words.say(f"verdict_{answer.verdict}"),
        "lead": words.say("lead", cause=words.name(lead.name), side=words.side(lead.side))
        if lead
        else words.say("check_no_cause"),
        "start": first.name if first else words.say("check_no_step"),
    }
    after = ", ".join(words.say(f"turn_then_{one}", **said) for one in turns)
    seen, measured = variation.seen, variation.measured
    return TurningPoint(
        kind=variation.kind,
        text=_text(variation, after, graph, words),
        movement=seen.movement if seen else None,
        view=seen.view if seen else None,
        finding=seen.finding if seen else None,
        side=seen.side if seen else measured.side if measured else None,
        change=variation.change,  # type: ignore[arg-type]
        measure=measured.measure if measured else None,
        was=variation.was,
        becomes=variation.becomes,
        distance=variation.distance,
        turns=tuple(sorted(turns)),
        verdict=answer.verdict,
        cause=lead.cause if lead else None,
        cause_side=lead.side if lead else None,
        first_step=first.drill if first else None,
        decision=answer.decision,
    )


_SAID: dict[Kind, str] = {
    "grade": "grade",
    "level": "level",
    "setting": "setting",
    "trial_result": "result",
}
"""Kinds whose values are words, by the beginning of their texts' ids."""


def _text(variation: Variation, after: str, graph: Graph, words: Words) -> str:
    kind, seen, measured = variation.kind, variation.seen, variation.measured
    values = {"then": after, "was": variation.was, "becomes": variation.becomes}
    if kind == "side" and seen is not None:
        values |= {"was": words.side(seen.side), "becomes": words.say(f"side_{variation.becomes}")}
    elif kind in _SAID:
        said = _SAID[kind]
        values |= {name: words.say(f"{said}_{values[name]}") for name in ("was", "becomes")}
    if kind == "measurement":
        mark = words.say("decimal_mark")
        values |= {name: values[name].replace(".", mark) for name in ("was", "becomes")}
    if seen is not None:
        movement, finding = graph.movements.get(seen.movement), graph.findings.get(seen.finding)
        values["movement"] = words.name(movement.name) if movement else seen.movement
        values["finding"] = words.name(finding.name) if finding else seen.finding
        values["side"] = words.side(seen.side)
    if variation.change is not None:
        values["change"] = words.name(graph.changes[variation.change].name)
    if measured is not None:
        record = graph.measures[measured.measure]
        values["measure"] = words.name(record.name)
        values["side"] = words.side(measured.side)
        values["unit"] = words.unit(record.unit)
    if kind == "kit":
        values["kit"] = words.name(graph.kit[variation.kit or ""].name)
        return words.say("turn_kit_add" if variation.becomes else "turn_kit_less", **values)
    return words.say(f"turn_{kind}", **values)
