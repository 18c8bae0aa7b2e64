"""What became of each measurement: its change against the noise of its method.

Apart from findings because here the noise is published: MDC95 = 1.96 x sqrt(2) x SEM.
"""

import math
from collections.abc import Iterator, Mapping
from typing import Literal

from msgspec import Struct

from service.engine.review.chart import chart
from service.engine.units import in_pack_units
from service.engine.words import Words
from service.model.graph import Graph
from service.model.knowledge import MeasureRecord, Method
from service.model.quantities import Side
from service.model.review import MeasurePoint, MeasureReview, Trend
from service.model.screen import Measurement, Screen

Key = tuple[str, str, Side]
"""Measure, method and side."""
FEWEST = 3
"""Values from which there is a trend: two make a line whatever they are."""
DIGITS = 6


class Value(Struct, frozen=True, kw_only=True, gc=False):
    """The mean of a screen's repeats; `same_rater` only if all of them say so."""

    value: float
    same_rater: bool


def values_of(screen: Screen, graph: Graph) -> dict[Key, Value]:
    """Return the plausible values of a screen by measure, method and side, in that order."""
    groups: dict[Key, list[Measurement]] = {}
    for one in in_pack_units(screen, graph).measurements:
        record = graph.measures.get(one.measure)
        if record is None or one.unit != record.unit:
            continue
        if not record.lowest <= one.value <= record.highest:
            continue
        if record.sided and one.side == "none":
            continue
        known = any(method.id == one.method for method in record.methods)
        method = one.method if one.method is not None and known else record.default_method
        sides: tuple[Side, ...] = ("none",)
        if record.sided:
            sides = ("left", "right") if one.side == "both" else (one.side,)
        for side in sides:
            groups.setdefault((one.measure, method, side), []).append(one)
    return {
        key: Value(
            value=math.fsum(one.value for one in group) / len(group),
            same_rater=all(one.same_rater is True for one in group),
        )
        for key, group in sorted(groups.items())
    }


def measures_of(
    visits: tuple[tuple[int | None, Mapping[Key, Value]], ...],
    graph: Graph,
    words: Words,
    *,
    charts: bool,
) -> tuple[MeasureReview, ...]:
    """Return a review of everything that the first and the last visit measured in one way."""
    return tuple(_reviews(visits, graph, words, charts=charts))


def _reviews(
    visits: tuple[tuple[int | None, Mapping[Key, Value]], ...],
    graph: Graph,
    words: Words,
    *,
    charts: bool,
) -> Iterator[MeasureReview]:
    first, last = visits[0][1], visits[-1][1]
    for key in sorted(first.keys() & last.keys()):
        measure, method_id, side = key
        record = graph.measures[measure]
        method = next(m for m in record.methods if m.id == method_id)
        points = [
            MeasurePoint(day=day, value=round(values[key].value, DIGITS))
            for day, values in visits
            if key in values
        ]
        same = all(values[key].same_rater for _, values in visits if key in values)
        noise = noise_of(method, same_rater=same)
        change = round(last[key].value - first[key].value, DIGITS)
        real = real_change(change, noise)
        yield MeasureReview(
            measure=measure,  # type: ignore[arg-type]
            method=method_id,
            side=side,
            was=points[0].value,
            now=points[-1].value,
            change=change,
            unit=record.unit,
            mdc95=noise,
            derived=method.derived,
            real_change=real,
            direction=_direction(record, change),
            text=_text(record, side, points, noise, real, words),
            source=method.source,
            points=tuple(points),
            trend=_trend(points, noise),
            chart=chart(record.name, record.unit, points, noise, words) if charts else None,
        )


def noise_of(method: Method, *, same_rater: bool) -> float | None:
    """Return the MDC95 of a method; where the rater is not known to be the same, the larger."""
    values = [method.mdc95] if same_rater else [method.mdc95, method.mdc95_other]
    return max((v for v in values if v is not None), default=None)


def real_change(change: float, noise: float | None) -> bool | None:
    """Say if a change is more than noise makes nineteen times in twenty; None if not known."""
    return None if noise is None else abs(change) > noise


def _direction(record: MeasureRecord, change: float) -> Literal["better", "worse"] | None:
    if change == 0 or record.better == "none":
        return None
    return "better" if (change > 0) == (record.better == "higher") else "worse"


def _text(
    record: MeasureRecord,
    side: Side,
    points: list[MeasurePoint],
    noise: float | None,
    real: bool | None,
    words: Words,
) -> str:
    change = points[-1].value - points[0].value
    way = _direction(record, change)
    code = {None: "unknown", True: f"real_{way or 'plain'}", False: "noise"}[real]
    return words.say(
        f"review_measure_{code}",
        measure=record.name,
        side=words.side(side),
        was=words.number(points[0].value),
        now=words.number(points[-1].value),
        change=words.number(abs(change)),
        mdc=words.number(noise or 0.0),
        unit=words.unit(record.unit),
    )


def _trend(points: list[MeasurePoint], noise: float | None) -> Trend | None:
    """Return the least-squares line over weeks, with the standard error that the method's noise
    gives it: SEM / sqrt(sum (t - mean t)^2), SEM = MDC95 / (1.96 sqrt 2).
    """
    known = [(p.day / 7, p.value) for p in points if p.day is not None]
    if len(known) < FEWEST or len(known) < len(points):
        return None
    mean_t = math.fsum(t for t, _ in known) / len(known)
    mean_v = math.fsum(v for _, v in known) / len(known)
    spread = math.fsum((t - mean_t) ** 2 for t, _ in known)
    if spread == 0:
        return None
    slope = math.fsum((t - mean_t) * (v - mean_v) for t, v in known) / spread
    if noise is None:
        return Trend(per_week=round(slope, DIGITS), noise_per_week=None, beyond_noise=None)
    error = noise / math.sqrt(2) / math.sqrt(spread)
    return Trend(
        per_week=round(slope, DIGITS),
        noise_per_week=round(error, DIGITS),
        beyond_noise=abs(slope) > error,
    )
