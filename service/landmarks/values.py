"""A measure's value in each repetition, and over all of them with its spread.

Apart from the curves because here time comes in: what counts is the bottom, or the way there.
"""

import math
from collections.abc import Iterator, Mapping

import numpy as np
from msgspec import Struct

from service.landmarks.clean import Numbers, Track
from service.landmarks.curves import Curve, Curves
from service.landmarks.layouts import ANKLE, HIP, KNEE, SHOULDER, WRIST
from service.landmarks.repeat import ONE_LEG, Repeat, Repeats
from service.landmarks.smooth import Array, kernel, smooth
from service.model.knowledge import CutoffRecord
from service.model.landmarks import Clip, MeasureSummary
from service.model.quantities import LandmarkMeasureId, Side

FROM_STANDING: frozenset[LandmarkMeasureId] = frozenset(
    ("arm_loss", "foot_turn_out", "heel_rise", "pelvis_shift")
)
_PAIR_AS_ONE: frozenset[LandmarkMeasureId] = frozenset(("trunk_beyond_shin",))
_SLOW_HZ = 1.0
"""Slower than this is the movement itself, faster is wobble."""
_RISEN = 1.0 / 3.0
"""Part of the way up at which hips and chest are compared."""
_SEEN = 0.5
"""Part of the bottom's frames in which a measure must be there."""


class Taken(Struct, frozen=True, kw_only=True):
    """One value of one repetition, its frame noise, and what the camera may add."""

    measure: LandmarkMeasureId
    side: Side
    value: float
    noise: float
    camera: float


def take(
    clip: Clip, track: Track, repeats: Repeats, curves: Curves
) -> tuple[tuple[Taken, ...], ...]:
    """Return for every repetition its values, by measure and side."""
    curves = {**curves, **_wobble(track, curves)}
    rest = {m: _rest(curves[m], repeats) for m in FROM_STANDING if m in curves}
    return tuple(
        tuple(
            sorted(
                _of_repeat(clip, track, repeats, one, curves, rest),
                key=lambda t: (t.measure, t.side),
            )
        )
        for one in repeats.found
    )


def _rest(curve: Curve, repeats: Repeats) -> Array:
    """Return each column's mean while standing, NaN where nothing is seen."""
    part = curve.data[0, repeats.standing]
    return np.array([_mean(part[:, n]) for n in range(part.shape[1])])


def _of_repeat(
    clip: Clip,
    track: Track,
    repeats: Repeats,
    one: Repeat,
    curves: Curves,
    rest: Mapping[LandmarkMeasureId, Array],
) -> Iterator[Taken]:
    for measure, curve in curves.items():
        low = curve.data[0, one.low]
        for n in range(low.shape[1]):
            values = low[:, n]
            if measure == "hips_lead":
                value = _lead(repeats.height, one, curve.data[0, :, n])
            elif measure == "knee_wobble":
                value = _wobbled(curve, one, n, track)
            elif np.isfinite(values).sum() < _SEEN * len(values):
                value = math.nan
            else:
                value = _mean(values) - (rest[measure][n] if measure in rest else 0.0)
            side = _side_of(clip, one, measure, n, low.shape[1])
            camera = _mean(curve.camera[one.low, n])
            if side is None or not math.isfinite(value + camera):
                # what the camera may add is part of the value: without it there is none
                continue
            if measure == "trunk_side_lean" and side == "right":
                value = -value
            noise = _noise(curve, one, n, track)
            yield Taken(
                measure=measure,
                side=side,
                value=float(value),
                noise=noise,
                camera=camera,
            )
            if measure == "knee_projection_angle":
                way = curve.data[0, one.start : one.end + 1, n]
                if np.isfinite(way).all():
                    yield Taken(
                        measure="knee_projection_excursion",
                        side=side,
                        value=float(way.max() - way.min()),
                        noise=noise,
                        camera=camera,
                    )


def _side_of(
    clip: Clip, one: Repeat, measure: LandmarkMeasureId, column: int, columns: int
) -> Side | None:
    """Return the side of a column, None where this repetition does not speak of it."""
    own: Side = "left" if column == 0 else "right"
    if clip.movement not in ONE_LEG:
        return own if columns == 2 else "none"
    if measure == "pelvis_shift":
        # one foot gives no middle to slide from
        return None
    if measure == "trunk_side_lean":
        # towards the standing leg; nothing where that is not known
        return None if one.side == "none" else one.side
    if columns == 1:
        return "none"
    return own if own == one.side else None


def _lead(height: Array, one: Repeat, lean: Array) -> float:
    """Return how much further the trunk tips by the time the hips have risen a third."""
    way = height[one.bottom : one.end + 1]
    goal = way[0] + _RISEN * (way[-1] - way[0])
    risen = np.flatnonzero(way >= goal)
    if not risen.size or risen[0] == 0:
        return math.nan
    after = int(risen[0])
    # between two frames, for here the body moves fastest
    part = (goal - way[after - 1]) / (way[after] - way[after - 1])
    then = lean[one.bottom + after - 1 : one.bottom + after + 1]
    return float(then[0] + part * (then[1] - then[0])) - _mean(lean[one.low])


def _wobble(track: Track, curves: Curves) -> Curves:
    """Return the knee's sideways movement faster than the squat itself, where it can be told."""
    shift = curves.get("knee_medial_shift")
    slow = kernel(track.fps, _SLOW_HZ)
    if shift is None or track.gain == 1.0 or len(slow) == 1:
        return {}
    both = np.concatenate(list(shift.data), axis=1)
    fast = both - smooth(both, slow)
    data = np.stack([fast[:, :2], fast[:, 2:]])
    return {"knee_wobble": Curve(data=data, camera=np.zeros_like(shift.camera))}


def _wobbled(curve: Curve, one: Repeat, column: int, track: Track) -> float:
    """Return the root mean square over a repetition, less what frame noise alone makes."""
    part = curve.data[0, one.start : one.end + 1, column]
    if not np.isfinite(part).all():
        return math.nan
    noise = _noise(curve, one, column, track)
    return math.sqrt(max(0.0, float((part * part).mean()) - noise * noise))


def _noise(curve: Curve, one: Repeat, column: int, track: Track) -> float:
    """Return the noise of one smoothed frame, from what smoothing took out of the repetition."""
    part = curve.data[:, one.start : one.end + 1, column]
    taken = (part[1] - part[0])[np.isfinite(part).all(axis=0)]
    if track.left <= 0 or taken.size < 3:
        return 0.0
    return float(taken.std()) / track.left * track.gain


def _mean(values: Array) -> float:
    seen = values[np.isfinite(values)]
    return float(seen.mean()) if seen.size else math.nan


def summarise(
    clip: Clip,
    track: Track,
    taken: tuple[tuple[Taken, ...], ...],
    records: Mapping[LandmarkMeasureId, CutoffRecord],
    numbers: Numbers,
) -> tuple[MeasureSummary, ...]:
    """Return each measure and side over all repetitions, sorted by measure and side."""
    groups: dict[tuple[LandmarkMeasureId, Side], list[Taken]] = {}
    for one in taken:
        for value in _paired(one) if clip.movement not in ONE_LEG else one:
            side = "none" if value.measure in _PAIR_AS_ONE else value.side
            groups.setdefault((value.measure, side), []).append(value)
    doubt = _doubt(track, numbers)
    return tuple(
        _summary(group, side, records[measure], doubt, numbers)
        for (measure, side), group in sorted(groups.items())
        if measure in records
    )


def _paired(one: tuple[Taken, ...]) -> Iterator[Taken]:
    """Yield the values, those of a pair that stands for the midline as their mean."""
    for value in one:
        if value.measure not in _PAIR_AS_ONE:
            yield value
    for measure in _PAIR_AS_ONE:
        pair = [value for value in one if value.measure == measure]
        if pair:
            yield Taken(
                measure=measure,
                side="none",
                value=math.fsum(p.value for p in pair) / len(pair),
                noise=max(p.noise for p in pair),
                camera=max(p.camera for p in pair),
            )


def _doubt(track: Track, numbers: Numbers) -> float:
    """Return the error in degrees that low confidence adds, by the mean of the points used."""
    used = [
        float(c)
        for pair in (SHOULDER, WRIST, HIP, KNEE, ANKLE)
        for c in track.confidence[pair]
        if c > 0
    ]
    mean = math.fsum(used) / len(used) if used else 0.0
    return (1.0 - mean) * numbers["confidence_error_deg"]


def _summary(
    group: list[Taken], side: Side, record: CutoffRecord, doubt: float, numbers: Numbers
) -> MeasureSummary:
    values = [one.value for one in group]
    count = len(values)
    mean = math.fsum(values) / count
    # the usual spread counts as a few repetitions, so that two that agree by chance do not convince
    weight = numbers["repeat_weight"]
    square = math.fsum((value - mean) ** 2 for value in values)
    between = (weight * record.repeat_spread**2 + square) / (weight + count - 1)
    frame = math.fsum(one.noise**2 for one in group) / count
    noise = math.sqrt(max(between, frame) / count)
    per_degree = 1.0 if record.unit == "deg" else 100 * math.pi / 180
    method = math.hypot(record.error, doubt * per_degree)
    camera = math.fsum(one.camera for one in group) / count
    sources = {record.error_source} if record.error_source else set()
    return MeasureSummary(
        measure=group[0].measure,
        side=side,
        value=mean,
        unit=record.unit,
        lowest=min(values),
        highest=max(values),
        spread=math.sqrt(noise**2 + camera**2 + method**2),
        noise=noise,
        camera=camera,
        method=method,
        n=count,
        sources=tuple(sorted(sources)),
    )
