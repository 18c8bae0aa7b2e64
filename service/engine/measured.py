"""From measurements to likelihood ratios: units, methods, references, families.

Apart from reading because a number needs other checks than a sighting, and because the same
arithmetic serves every measure.
"""

import math

from service.engine.kept import Keeper
from service.model.graph import Graph
from service.model.knowledge import MeasureRecord, Method, Reference
from service.model.network import ANY, LEFT, RIGHT
from service.model.quantities import Side, Unit
from service.model.records import Leaf
from service.model.screen import Client, Measurement, Screen

Told = tuple[str, str, tuple[tuple[str, str], ...]]
"""A warning: code, pointer, values."""


class Measured(Leaf, frozen=True, kw_only=True):
    """One measurement that is weighed, mean of its repeats."""

    measure: str
    method: str
    side: Side
    value: float
    unit: Unit
    mean: float
    targets: tuple[tuple[int, int], ...]
    ratio: float
    sources: tuple[str, ...]
    pointer: str


class _Group(Leaf, frozen=True, kw_only=True):
    values: list[float]
    pointer: str


def read_measurements(
    screen: Screen, graph: Graph
) -> tuple[tuple[Measured, ...], tuple[Told, ...]]:
    """Return what is weighed, sorted by measure, method and side, and what stands aside."""
    if not screen.measurements:
        return (), ()
    told: list[Told] = []
    groups: dict[tuple[str, str, Side], _Group] = {}
    for n, one in enumerate(screen.measurements):
        pointer = f"/measurements/{n}"
        values = (("measure", one.measure),)
        code, method = _check(one, graph)
        if code:
            told.append((code, pointer, values))
            if code not in ("method_unknown",):
                continue
        sides: tuple[Side, ...] = ("left", "right") if one.side == "both" else (one.side,)
        for side in sides:
            group = groups.setdefault(
                (one.measure, method, side), _Group(values=[], pointer=pointer)
            )
            group.values.append(one.value)
    found: list[Measured] = []
    for (measure, method, side), group in sorted(groups.items()):
        found += _weighed(graph.measures[measure], method, side, group, screen.client, graph)
    return _one_a_family(found, graph, told), tuple(told)


def _check(one: Measurement, graph: Graph) -> tuple[str, str]:
    """Return why a measurement stands aside (or an empty string), and its method."""
    record = graph.measures.get(one.measure)
    if record is None:
        return "measure_not_covered", ""
    if one.unit != record.unit:
        return "unit_mismatch", ""
    if not record.lowest <= one.value <= record.highest:
        return "implausible", ""
    if record.sided and one.side == "none":
        return "side_missing", ""
    if record.silent:
        return "measure_silent", ""
    if one.method is not None and all(m.id != one.method for m in record.methods):
        return "method_unknown", record.default_method
    return "", one.method or record.default_method


def _weighed(
    record: MeasureRecord, method_id: str, side: Side, group: _Group, client: Client, graph: Graph
) -> list[Measured]:
    """Return one likelihood ratio for each direction in which the measure speaks of causes."""
    reference = reference_of(record, method_id, client)
    if reference is None:
        return []
    method = next(m for m in record.methods if m.id == method_id)
    # a sum in sorted order does not depend on the order of repeats
    value = math.fsum(group.values) / len(group.values)
    spread, limit, mean = spread_of(reference, method), graph.decision.lr_limit, reference.mean
    return [
        Measured(
            measure=record.id,
            method=method_id,
            side=side,
            value=value,
            unit=record.unit,
            mean=mean,
            targets=speaks.targets,
            ratio=likelihood_ratio(value, mean, speaks.shift, spread, limit),
            sources=tuple(sorted({reference.source, method.source, *speaks.sources})),
            pointer=group.pointer,
        )
        for speaks in _speaking(record, side, graph)
    ]


class _Speaks(Leaf, frozen=True, kw_only=True):
    """The causes that a measure speaks of in one direction, and how far they shift it."""

    shift: float
    targets: tuple[tuple[int, int], ...]
    sources: tuple[str, ...]


def _speaking(record: MeasureRecord, side: Side, graph: Graph) -> tuple[_Speaks, ...]:
    """Return what a measure of a side speaks of, lower before higher, made once for the pack."""
    known = _SPEAKING.of(graph)
    found = known.get((record.id, side))
    if found is None:
        rows = (_speaks(record, side, sign, graph) for sign in (-1.0, 1.0))
        found = known[record.id, side] = tuple([one for one in rows if one.targets])
    return found


def _speaks(record: MeasureRecord, side: Side, sign: float, graph: Graph) -> _Speaks:
    speaks = [s for s in record.speaks_for if s.shift * sign > 0]
    targets = [
        (graph.variable_of[s.cause], mask)
        for s in speaks
        for mask in _masks(side, graph.causes[s.cause].sided)
    ]
    return _Speaks(
        shift=math.fsum(s.shift for s in speaks) / max(1, len(speaks)),
        targets=tuple(sorted(targets)),
        sources=tuple([s.source for s in speaks]),
    )


def _none_spoken(_graph: Graph) -> dict[tuple[str, Side], tuple[_Speaks, ...]]:
    return {}


_SPEAKING = Keeper(_none_spoken)


def likelihood_ratio(value: float, mean: float, shift: float, spread: float, limit: float) -> float:
    """Return N(value; mean + shift, spread) / N(value; mean, spread), within [1/limit, limit]."""
    log = (shift * (value - mean) - shift * shift / 2) / (spread * spread)
    bound = math.log(limit)
    return math.exp(max(-bound, min(bound, log)))


def spread_of(reference: Reference, method: Method) -> float:
    """Return the reference SD widened by the error of the method."""
    return math.sqrt(reference.sd**2 + (method.sem or 0.0) ** 2)


def reference_of(record: MeasureRecord, method: str, client: Client) -> Reference | None:
    """Return the reference that fits method, sex and age most exactly, or None."""
    sex, age = client.sex, client.age_years
    best: Reference | None = None
    first: Reference | None = None
    most = -1
    for one in record.references:
        own = one.method
        if own is not None and own != method:
            continue
        if first is None:
            first = one
        its_sex, age_from, age_to = one.sex, one.age_from, one.age_to
        if (
            (its_sex is not None and its_sex != sex)
            or (age_from is not None and (age or -1) < age_from)
            or (age_to is not None and (age is None or age > age_to))
        ):
            continue
        aged = age_from is not None or age_to is not None
        exactness = 4 * (own is not None) + 2 * (its_sex is not None) + aged
        if exactness > most:
            best, most = one, exactness
    # nobody fits: sex and age unknown or outside; the first of the method serves
    return first if best is None else best


def _masks(side: Side, sided: bool) -> tuple[int, ...]:
    if not sided:
        return (ANY,)
    if side == "left":
        return (LEFT,)
    return (RIGHT,) if side == "right" else (LEFT, RIGHT)


def _one_a_family(found: list[Measured], graph: Graph, told: list[Told]) -> tuple[Measured, ...]:
    """Keep of each family and side the measure with the least error for its spread."""
    if len({(m.measure, m.method, m.side) for m in found}) < 2:
        return tuple(found)
    best: dict[tuple[str, Side], tuple[float, str, str]] = {}
    for m in found:
        key = (graph.measures[m.measure].family, m.side)
        rank = (_noise(m, graph), m.measure, m.method)
        if key not in best or rank < best[key]:
            best[key] = rank
    kept = []
    for m in found:
        chosen = best[graph.measures[m.measure].family, m.side]
        if chosen[1:] == (m.measure, m.method):
            kept.append(m)
        else:
            told.append(("family_counts_once", m.pointer, (("measure", m.measure),)))
    return tuple(kept)


def _noise(m: Measured, graph: Graph) -> float:
    """Return the error of the method as part of the range that people show."""
    record = graph.measures[m.measure]
    method = next(one for one in record.methods if one.id == m.method)
    spread = min((r.sd for r in record.references), default=1.0)
    return (method.sem if method.sem is not None else spread) / spread
