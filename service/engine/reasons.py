"""Why each cause is believed: the evidence behind it, and how far each piece moved the belief.

Apart from the session's reasons because these rest on inference alone.
"""

import math
from collections.abc import Iterator

import msgspec
from msgspec import Struct

from service.engine.read import Reading, Seen
from service.engine.weigh import Weighing, belief, side_of
from service.engine.words import Words
from service.model.answer import Because, CauseAnswer, Explains, MuscleRole
from service.model.graph import Graph
from service.model.network import LEFT, RIGHT, Posterior
from service.model.quantities import MICRO, Side

SAID_FROM = 0.05
"""Log odds below which a piece of evidence is not worth a sentence."""
LISTED_FROM = 0.005
"""Weight below which a cause that the evidence did not raise is not listed."""

NOTHING = Because(
    code="",
    text="",
    movement=None,
    view=None,
    finding=None,
    side=None,
    change=None,
    result=None,
    measure=None,
    value=None,
    unit=None,
    cause=None,
    rule=None,
    moved=None,
    sources=(),
)


class Facts(Struct, frozen=True, kw_only=True):
    """Everything that reasons are made from."""

    graph: Graph
    reading: Reading
    posterior: Posterior
    weighing: Weighing


def causes_of(facts: Facts, words: Words) -> tuple[CauseAnswer, ...]:
    """Return the causes that weigh or are likely, by weight, belief, id and side."""
    found = []
    for variable, cause in enumerate(facts.graph.causes.values()):
        masks = (LEFT, RIGHT) if cause.sided else (1,)
        sides = [_cause(facts, words, variable, mask) for mask in masks]
        if len(sides) == 2 and _alike(*sides):
            found.append(_both(sides))
        else:
            found += sides
    listed = [c for c in found if _worth_listing(c, facts)]
    return tuple(sorted(listed, key=lambda c: (-c.weight, -c.belief, c.cause, c.side)))


def _cause(facts: Facts, words: Words, variable: int, mask: int) -> CauseAnswer:
    graph = facts.graph
    record = graph.causes[graph.network.variables[variable].id]
    weight = facts.weighing.by_side.get((variable, mask), 0) / MICRO
    believed = belief(facts.posterior.states[variable], mask)
    because = sorted(
        _evidence(facts, words, variable, mask),
        key=lambda b: (-abs(b.moved or 0.0), b.code, msgspec.json.encode(b)),
    )
    if believed > graph.decision.present_from and weight < LISTED_FROM:
        because.append(_reason(words, "present_but_idle", cause=record.id))
    return CauseAnswer(
        cause=record.id,
        name=record.name,
        side=side_of(mask, record.sided),
        muscles=tuple(
            MuscleRole(muscle=m.muscle, name=graph.muscles[m.muscle].name, does=m.does)
            for m in record.muscles
        ),
        belief=_six(believed),
        weight=_six(weight),
        explains=tuple(_explains(facts, variable, mask)),
        firmness=None,
        because=tuple(because),
        wrong_when=record.wrong_when,
    )


def _six(number: float) -> float:
    return round(number, 6)


def _explains(facts: Facts, variable: int, mask: int) -> Iterator[Explains]:
    """Yield how much of each sighting the cause accounts for, in the order of events."""
    for seen, said in zip(facts.reading.positives, facts.posterior.sightings, strict=True):
        if said is None:
            continue
        key = facts.graph.events[seen.event]
        parents = facts.graph.network.events[seen.event].parents
        for parent, part in zip(parents, said.parents, strict=True):
            if (parent.variable, parent.mask) == (variable, mask) and part.share >= SAID_FROM / 10:
                yield Explains(
                    movement=key.movement,  # type: ignore[arg-type]
                    finding=key.finding,  # type: ignore[arg-type]
                    side=key.side,
                    share=_six(part.share),
                )


def _evidence(facts: Facts, words: Words, variable: int, mask: int) -> Iterator[Because]:
    yield from _from_sightings(facts, words, variable, mask)
    yield from _from_absences(facts, words, variable, mask)
    yield from _from_measurements(facts, words, variable, mask)
    cause = facts.graph.network.variables[variable].id
    for known, known_mask, present in facts.reading.known:
        if (known, known_mask) == (variable, mask):
            yield _reason(words, "known_present" if present else "known_absent", cause=cause)


def _from_sightings(facts: Facts, words: Words, variable: int, mask: int) -> Iterator[Because]:
    graph = facts.graph
    for seen, said in zip(facts.reading.positives, facts.posterior.sightings, strict=True):
        parents = graph.network.events[seen.event].parents
        for parent, part in zip(parents, said.parents if said else (), strict=False):
            if (parent.variable, parent.mask) != (variable, mask):
                continue
            cause = graph.network.variables[variable].id
            sources = _link_sources(graph, cause, seen)
            if abs(part.moved) >= SAID_FROM:
                yield _about(
                    words, graph, "seen", seen, cause=cause, moved=part.moved, sources=sources
                )
            for trial, moved in zip(seen.trials, part.trial_moved, strict=False):
                if abs(moved) < SAID_FROM:
                    continue
                told = seen.half_depth_told and trial.change == "half_depth"
                yield _about(
                    words,
                    graph,
                    f"depth_{trial.result}" if told else f"trial_{trial.result}",
                    seen,
                    cause=cause,
                    moved=moved,
                    change=trial.change,
                    result=trial.result,
                    sources=graph.changes[trial.change].sources,
                )


def _from_absences(facts: Facts, words: Words, variable: int, mask: int) -> Iterator[Because]:
    """Yield what was looked for and not seen: its factor on the odds is exact."""
    graph = facts.graph
    for seen, absence in zip(facts.reading.negatives, facts.reading.evidence.absences, strict=True):
        for parent in graph.network.events[seen.event].parents:
            if (parent.variable, parent.mask) != (variable, mask):
                continue
            moved = math.log(1 - min(parent.strength * absence.scale, 0.98))
            if abs(moved) >= SAID_FROM:
                cause = graph.network.variables[variable].id
                yield _about(
                    words,
                    graph,
                    "not_seen",
                    seen,
                    cause=cause,
                    moved=moved,
                    sources=_link_sources(graph, cause, seen),
                )


def _from_measurements(facts: Facts, words: Words, variable: int, mask: int) -> Iterator[Because]:
    for measured, moves in zip(facts.reading.measured, facts.posterior.ratio_moved, strict=True):
        for target, moved in zip(measured.targets, moves, strict=True):
            if target != (variable, mask) or abs(moved) < SAID_FROM:
                continue
            record = facts.graph.measures[measured.measure]
            text = words.say(
                "measured_for" if moved > 0 else "measured_against",
                measure=words.name(record.name),
                side=words.side(measured.side),
                value=words.number(measured.value),
                unit=words.unit(measured.unit),
                mean=words.number(measured.mean),
            )
            yield msgspec.structs.replace(
                NOTHING,
                code="measured_for" if moved > 0 else "measured_against",
                text=text,
                side=measured.side,
                measure=measured.measure,
                value=_six(measured.value),
                unit=measured.unit,
                cause=facts.graph.network.variables[variable].id,
                moved=_six(moved),
                sources=measured.sources,
            )


def _link_sources(graph: Graph, cause: str, seen: Seen) -> tuple[str, ...]:
    """Return the sources of the links in play and of the eye that saw."""
    key = graph.events[seen.event]
    links = graph.link_of.get((cause, key.finding), ())
    cited = {s for link in links for s in graph.links[link].sources}
    cited.add(graph.eyes[key.movement, key.finding, seen.view].source)
    return tuple(sorted(cited))


def _about(
    words: Words,
    graph: Graph,
    code: str,
    seen: Seen,
    *,
    cause: str,
    moved: float,
    sources: tuple[str, ...],
    change: str | None = None,
    result: str | None = None,
) -> Because:
    key = graph.events[seen.event]
    text = words.say(
        code,
        movement=words.name(graph.movements[key.movement].name),
        view=words.say(f"view_{seen.view}"),
        finding=words.name(graph.findings[key.finding].name),
        side=words.side(key.side),
        grade=words.say(f"grade_{seen.grade}"),
        change=words.name(graph.changes[change].name) if change else "",
    )
    return msgspec.structs.replace(
        NOTHING,
        code=code,
        text=text,
        movement=key.movement,
        view=seen.view,
        finding=key.finding,
        side=key.side,
        change=change,
        result=result,
        cause=cause,
        moved=_six(moved),
        sources=sources,
    )


def _reason(words: Words, code: str, *, cause: str) -> Because:
    return msgspec.structs.replace(NOTHING, code=code, text=words.say(code), cause=cause)


def _alike(left: CauseAnswer, right: CauseAnswer) -> bool:
    """Say if both twins weigh and are believed alike, and rest on mirrored evidence."""
    return (left.weight, left.belief) == (right.weight, right.belief)


def _both(sides: list[CauseAnswer]) -> CauseAnswer:
    left, right = sides
    both: Side = "both"
    return msgspec.structs.replace(
        left,
        side=both,
        weight=_six(left.weight + right.weight),
        explains=left.explains + right.explains,
        because=left.because + tuple(b for b in right.because if b not in left.because),
    )


def _worth_listing(cause: CauseAnswer, facts: Facts) -> bool:
    """Say if a cause weighs, or is more likely than not, or was raised or told."""
    if cause.weight >= LISTED_FROM or cause.belief > facts.graph.decision.present_from:
        return True
    return any(b.code.startswith("known") for b in cause.because)
