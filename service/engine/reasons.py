"""Why each cause is believed: the evidence behind it, and how far each piece moved the belief.

Apart from the session's reasons because these rest on inference alone.
"""

import math
from collections.abc import Iterator

import msgspec
from msgspec import Struct

from service.engine.kept import Keeper
from service.engine.measured import Measured
from service.engine.read import Reading, Seen
from service.engine.weigh import Weighing, belief, side_of
from service.engine.words import Words
from service.model.answer import Because, CauseAnswer, Explains, MuscleRole
from service.model.graph import Graph
from service.model.knowledge import CauseRecord
from service.model.network import ANY, LEFT, RIGHT, ParentPosterior, Posterior
from service.model.quantities import MICRO, Side
from service.model.screen import Trial

SAID_FROM = 0.05
"""Log odds below which a piece of evidence is not worth a sentence."""
MARGIN = 1e-6
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


class Facts(Struct, frozen=True, kw_only=True, gc=False):
    """Everything that reasons are made from."""

    graph: Graph
    reading: Reading
    posterior: Posterior
    weighing: Weighing


Where = tuple[int, int]
"""A cause on a side: (variable, mask)."""


class _Index(Struct, frozen=True, kw_only=True, gc=False):
    """Which evidence touches which cause on which side, found in one pass."""

    sightings: dict[Where, list[tuple[Seen, ParentPosterior]]]
    absences: dict[Where, list[tuple[Seen, float]]]
    measured: dict[Where, list[tuple[Measured, float]]]
    known: dict[Where, bool]
    texts: dict[tuple[str, int, str | None], str]
    """By code, event and change: one sentence serves every cause that it speaks of."""


def causes_of(facts: Facts, words: Words) -> tuple[CauseAnswer, ...]:
    """Return the causes that weigh or are likely, by weight, belief, id and side."""
    index = _index(facts)
    lean = least_lean(facts.graph)
    found = []
    graph = facts.graph
    for variable in _may_be_listed(facts):
        cause = graph.causes[graph.network.variables[variable].id]
        wheres = [(variable, mask) for mask in ((LEFT, RIGHT) if cause.sided else (ANY,))]
        numbers = [_numbers(facts, where) for where in wheres]
        told = {index.known.get(where) for where in wheres}
        if len(wheres) == 2 and len(told) == 1 and _alike(*numbers[0], *numbers[1], lean):
            # the larger of the two decides, so that left and right are treated alike
            if _worth_listing(facts, index, wheres[0], *map(max, *numbers)):
                found.append(_both([_cause(facts, words, index, where) for where in wheres]))
            continue
        found += [
            _cause(facts, words, index, where)
            for where, (weight, believed) in zip(wheres, numbers, strict=True)
            if _worth_listing(facts, index, where, weight, believed)
        ]
    return tuple(sorted(found, key=lambda c: (-c.weight, -c.belief, c.cause, c.side)))


def _may_be_listed(facts: Facts) -> list[int]:
    """Return the variables that weigh, were told, or may be more likely than not on a side."""
    floor = facts.graph.decision.present_from
    told = {variable for variable, _, _ in facts.reading.known}
    rows = enumerate(zip(facts.weighing.by_cause, facts.posterior.states, strict=True))
    # rounding to nine decimals moves a belief by less than the margin
    return [
        variable
        for variable, (weight, states) in rows
        if weight > 0 or variable in told or 1 - states[0] > floor - MARGIN
    ]


def _index(facts: Facts) -> _Index:
    """Return all evidence by the cause and side that it touches."""
    events = facts.graph.network.events
    reading = facts.reading
    index = _Index(
        sightings={},
        absences={},
        measured={},
        known={(variable, mask): present for variable, mask, present in reading.known},
        texts={},
    )
    for seen, said in zip(reading.positives, facts.posterior.sightings, strict=True):
        if said is None:
            continue
        for parent, part in zip(events[seen.event].parents, said.parents, strict=True):
            where = (parent.variable, parent.mask)
            index.sightings.setdefault(where, []).append((seen, part))
    for seen, absence in zip(reading.negatives, reading.evidence.absences, strict=True):
        for parent in events[seen.event].parents:
            where = (parent.variable, parent.mask)
            strength = min(parent.strength * absence.scale, 0.98)
            index.absences.setdefault(where, []).append((seen, strength))
    for measured, moves in zip(reading.measured, facts.posterior.ratio_moved, strict=True):
        for where, moved in zip(measured.targets, moves, strict=True):
            index.measured.setdefault(where, []).append((measured, moved))
    return index


def _numbers(facts: Facts, where: Where) -> tuple[float, float]:
    """Return weight and belief of a cause on a side."""
    variable, mask = where
    weight = facts.weighing.by_side.get(where, 0) / MICRO
    return weight, belief(facts.posterior.states[variable], mask)


def least_lean(graph: Graph) -> float:
    """Return the part of a weight by which sides must differ to count as different."""
    rule = next(rule for rule in graph.rules.values() if rule.kind == "weaker_side_first")
    return rule.numbers["least_lean_percent"] / 100


def _alike(weight: float, believed: float, other: float, also: float, lean: float) -> bool:
    """Say if twins weigh and are believed alike: no further apart than a coach could tell."""
    near = abs(weight - other) <= lean * (weight + other)
    return near and abs(believed - also) <= lean


def _worth_listing(
    facts: Facts, index: _Index, where: Where, weight: float, believed: float
) -> bool:
    """Say if a cause weighs, or is more likely than not, or was told."""
    likely = believed > facts.graph.decision.present_from
    return weight >= LISTED_FROM or likely or where in index.known


def _cause(facts: Facts, words: Words, index: _Index, where: Where) -> CauseAnswer:
    graph = facts.graph
    variable, mask = where
    record = graph.causes[graph.network.variables[variable].id]
    weight, believed = _numbers(facts, where)
    because = sorted(
        _evidence(facts, words, index, where, record.id),
        key=lambda b: (-abs(b.moved or 0.0), b.code, b.text),
    )
    if believed > graph.decision.present_from and weight < LISTED_FROM:
        because.append(_reason(words, "present_but_idle", cause=record.id))
    return CauseAnswer(
        cause=record.id,
        name=record.name,
        side=side_of(mask, record.sided),
        muscles=_muscles(graph, record),
        belief=_six(believed),
        weight=_six(weight),
        explains=tuple(_explains(graph, index, where)),
        firmness=None,
        because=tuple(because),
        wrong_when=record.wrong_when,
    )


def _muscles(graph: Graph, record: CauseRecord) -> tuple[MuscleRole, ...]:
    """Return the muscles of a cause, made once for the pack."""
    known = _ROLES.of(graph)
    roles = known.get(record.id)
    if roles is None:
        roles = known[record.id] = tuple(
            [
                MuscleRole(muscle=m.muscle, name=graph.muscles[m.muscle].name, does=m.does)
                for m in record.muscles
            ]
        )
    return roles


def _no_roles(_graph: Graph) -> dict[str, tuple[MuscleRole, ...]]:
    return {}


_ROLES = Keeper(_no_roles)


def _six(number: float) -> float:
    return round(number, 6)


def _explains(graph: Graph, index: _Index, where: Where) -> Iterator[Explains]:
    """Yield how much of each sighting the cause accounts for, in the order of events."""
    for seen, part in index.sightings.get(where, ()):
        if part.share >= LISTED_FROM:
            key = graph.events[seen.event]
            yield Explains(
                movement=key.movement,  # type: ignore[arg-type]
                finding=key.finding,  # type: ignore[arg-type]
                side=key.side,
                share=_six(part.share),
            )


def _evidence(
    facts: Facts, words: Words, index: _Index, where: Where, cause: str
) -> Iterator[Because]:
    """Yield every piece of evidence that moved the belief enough to be worth a sentence."""
    graph = facts.graph
    for seen, part in index.sightings.get(where, ()):
        if abs(part.moved) >= SAID_FROM:
            sources = _link_sources(graph, cause, seen)
            text = _text(words, graph, index, "seen", seen)
            yield _about(graph, "seen", text, seen, cause, part.moved, sources)
        if seen.trials:
            yield from _from_trials(words, graph, index, seen, part, cause)
    for seen, strength in index.absences.get(where, ()):
        # what was looked for and not seen: its factor on the odds is exact
        moved = math.log(1 - strength)
        if abs(moved) >= SAID_FROM:
            sources = _link_sources(graph, cause, seen)
            text = _text(words, graph, index, "not_seen", seen)
            yield _about(graph, "not_seen", text, seen, cause, moved, sources)
    for measured, moved in index.measured.get(where, ()):
        if abs(moved) >= SAID_FROM:
            yield _from_measurement(words, graph, measured, moved, cause)
    if where in index.known:
        code = "known_present" if index.known[where] else "known_absent"
        yield _reason(words, code, cause=cause)


def _from_trials(
    words: Words, graph: Graph, index: _Index, seen: Seen, part: ParentPosterior, cause: str
) -> Iterator[Because]:
    for trial, moved in zip(seen.trials, part.trial_moved, strict=True):
        if abs(moved) < SAID_FROM:
            continue
        told = seen.half_depth_told and trial.change == "half_depth"
        code = f"depth_{trial.result}" if told else f"trial_{trial.result}"
        text = _text(words, graph, index, code, seen, trial.change)
        sources = graph.changes[trial.change].sources
        yield _about(graph, code, text, seen, cause, moved, sources, trial)


def _from_measurement(
    words: Words, graph: Graph, measured: Measured, moved: float, cause: str
) -> Because:
    record = graph.measures[measured.measure]
    code = "measured_for" if moved > 0 else "measured_against"
    text = words.say(
        code,
        measure=words.name(record.name),
        side=words.side(measured.side),
        value=words.number(measured.value),
        unit=words.unit(measured.unit),
        mean=words.number(measured.mean),
    )
    return msgspec.structs.replace(
        NOTHING,
        code=code,
        text=text,
        side=measured.side,
        measure=measured.measure,
        value=_six(measured.value),
        unit=measured.unit,
        cause=cause,
        moved=_six(moved),
        sources=measured.sources,
    )


def _link_sources(graph: Graph, cause: str, seen: Seen) -> tuple[str, ...]:
    """Return the sources of the links in play and of the eye that saw."""
    known = _CITED.of(graph)
    cited = known.get((cause, seen.event, seen.view))
    if cited is None:
        key = graph.events[seen.event]
        links = graph.link_of.get((cause, key.finding), ())
        sources = {s for link in links for s in graph.links[link].sources}
        sources.add(graph.eyes[key.movement, key.finding, seen.view].source)
        cited = known[cause, seen.event, seen.view] = tuple(sorted(sources))
    return cited


def _none_cited(_graph: Graph) -> dict[tuple[str, int, str], tuple[str, ...]]:
    return {}


_CITED = Keeper(_none_cited)


def _text(
    words: Words, graph: Graph, index: _Index, code: str, seen: Seen, change: str | None = None
) -> str:
    """Return the sentence of what was seen or tried, made once for all causes."""
    text = index.texts.get((code, seen.event, change))
    if text is None:
        key = graph.events[seen.event]
        text = index.texts[code, seen.event, change] = words.say(
            code,
            movement=words.name(graph.movements[key.movement].name),
            view=words.say(f"view_{seen.view}"),
            finding=words.name(graph.findings[key.finding].name),
            side=words.side(key.side),
            grade=words.say(f"grade_{seen.grade}"),
            change=words.name(graph.changes[change].name) if change else "",
        )
    return text


def _about(
    graph: Graph,
    code: str,
    text: str,
    seen: Seen,
    cause: str,
    moved: float,
    sources: tuple[str, ...],
    trial: Trial | None = None,
) -> Because:
    key = graph.events[seen.event]
    return Because(
        code=code,
        text=text,
        movement=key.movement,  # type: ignore[arg-type]
        view=seen.view,
        finding=key.finding,  # type: ignore[arg-type]
        side=key.side,
        change=trial.change if trial else None,
        result=trial.result if trial else None,
        measure=None,
        value=None,
        unit=None,
        cause=cause,
        rule=None,
        moved=_six(moved),
        sources=sources,
    )


def _reason(words: Words, code: str, *, cause: str) -> Because:
    return msgspec.structs.replace(NOTHING, code=code, text=words.say(code), cause=cause)


def _both(sides: list[CauseAnswer]) -> CauseAnswer:
    """Return twins as one entry: their weights together, the belief that both sides reach."""
    left, right = sides
    both: Side = "both"
    return msgspec.structs.replace(
        left,
        side=both,
        belief=min(left.belief, right.belief),
        weight=_six(left.weight + right.weight),
        explains=left.explains + right.explains,
        because=left.because + tuple(b for b in right.because if b not in left.because),
    )
