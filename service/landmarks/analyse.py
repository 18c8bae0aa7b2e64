"""A clip in, an answer out: the order of the steps, and nothing else.

Apart from the steps so that each can be checked by itself.
"""

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np

from service.landmarks.camera import Blocked, check_camera, facing_of
from service.landmarks.clean import Told, Track, clean
from service.landmarks.curves import Curves, curves_of
from service.landmarks.draw import chart, figure
from service.landmarks.grade import Graded, grade, not_observable
from service.landmarks.repeat import Repeat, Repeats, find_repeats
from service.landmarks.smooth import Array
from service.landmarks.values import Taken, summarise, take
from service.model.answer import Warning
from service.model.knowledge import CutoffRecord
from service.model.landmarks import (
    Clip,
    LandmarkAnswer,
    MeasureSeries,
    MeasureSummary,
    MeasureValue,
    Repetition,
    SideDifference,
)
from service.model.quantities import LandmarkMeasureId, LandmarkUnit, Side
from service.model.screen import Measurement

Cutoffs = Mapping[str, CutoffRecord]
Texts = Mapping[str, str]
_SAMPLES = 120
_DRAWN: Mapping[str, tuple[LandmarkMeasureId, str]] = {
    "back": ("knee_projection_angle", "the knee's angle inwards"),
    "front": ("knee_projection_angle", "the knee's angle inwards"),
    "side": ("knee_flexion", "the bend of the knee"),
}


def analyse(clip: Clip, cutoffs: Cutoffs, texts: Texts) -> LandmarkAnswer:
    """Return what a clip shows. Pure: the same clip and pack give the same answer.

    `cutoffs` are the live records by id, among them `clip` with the numbers of reading;
    `texts` the templates of one language. Never raises for what a caller sent.
    """
    records = {r.measure: r for r in cutoffs.values() if r.measure is not None}
    numbers: Mapping[str, float] = {str(k): v for k, v in cutoffs["clip"].numbers.items()}
    track, told = clean(clip, numbers)
    if track is None:
        return _nothing(clip, cutoffs, told, texts)
    facing = facing_of(track) if clip.view == "side" else 1.0
    repeats, more = find_repeats(clip, track, facing or 1.0, numbers)
    told += more
    if facing == 0.0:
        told += (("facing_unclear", "/view", ()),)
        return _nothing(clip, cutoffs, told, texts)
    curves = curves_of(clip, track, facing, numbers)
    blocked, more = check_camera(clip, track, repeats, curves, numbers)
    told += more
    taken = tuple(
        tuple(value for value in one if value.measure not in blocked)
        for one in take(clip, track, repeats, curves)
    )
    summaries = summarise(clip, track, taken, records, numbers)
    if not any(clip.movement in row.movements for r in records.values() for row in r.grades):
        told += (("movement_without_grades", "/movement", (("movement", clip.movement),)),)
    graded = grade(clip, facing, summaries, records, numbers)
    measurements, more = _measurements(clip, summaries, numbers)
    told += more
    drawn, what = _DRAWN[clip.view]
    angles = (
        curves[drawn].data[0]
        if drawn not in blocked
        else np.full((len(repeats.height), 2), math.nan)
    )
    return LandmarkAnswer(
        movement=clip.movement,
        view=clip.view,
        layout=clip.layout,
        observations=graded.observations,
        measurements=measurements,
        uncertain=graded.uncertain,
        not_observable=not_observable(
            clip, cutoffs, summaries, graded, blocked, bool(repeats.found)
        ),
        repetitions=tuple(
            _repetition(one, values, track, records)
            for one, values in zip(repeats.found, taken, strict=True)
        ),
        summaries=tuple(_rounded(s) for s in summaries),
        differences=_differences(summaries),
        series=_series(track, repeats, curves, blocked, drawn),
        figure=figure(clip, track, repeats, angles, what),
        chart=chart(track, repeats, angles, what),
        warnings=_warnings(told, texts),
    )


def _nothing(clip: Clip, cutoffs: Cutoffs, told: tuple[Told, ...], texts: Texts) -> LandmarkAnswer:
    """Return the answer of a clip that shows nothing, with everything to check otherwise."""
    nothing = Graded(observations=(), uncertain=())
    return LandmarkAnswer(
        movement=clip.movement,
        view=clip.view,
        layout=clip.layout,
        observations=(),
        measurements=(),
        uncertain=(),
        not_observable=not_observable(clip, cutoffs, (), nothing, frozenset(), False),
        repetitions=(),
        summaries=(),
        differences=(),
        series=(),
        figure="",
        chart="",
        warnings=_warnings(told, texts),
    )


def _warnings(told: tuple[Told, ...], texts: Texts) -> tuple[Warning, ...]:
    return tuple(
        Warning(
            code=code,
            pointer=pointer,
            text=texts[f"landmarks_{code}"].format_map(dict(values)),
        )
        for code, pointer, values in told
    )


def _measurements(
    clip: Clip, summaries: tuple[MeasureSummary, ...], numbers: Mapping[str, float]
) -> tuple[tuple[Measurement, ...], tuple[Told, ...]]:
    """Return the measurements that a screen knows: the knee's angle on video, from the front."""
    if clip.view != "front":
        return (), ()
    out: list[Measurement] = []
    told: list[Told] = []
    for s in summaries:
        if s.measure != "knee_projection_angle":
            continue
        values = (("side", s.side), ("degrees", f"{s.camera:.0f}"))
        if s.camera > numbers["camera_part_most_deg"]:
            told.append(("angle_left_out", "/frames", values))
        elif not numbers["angle_lowest_deg"] <= s.value <= numbers["angle_highest_deg"]:
            told.append(("implausible", "/frames", values))
        else:
            out.append(
                Measurement(
                    measure="knee_projection_angle",
                    value=round(s.value, 2),
                    unit="deg",
                    side=s.side,
                    method="video_2d",
                    spread=round(s.spread, 3),
                    n=s.n,
                )
            )
    return tuple(out), tuple(told)


def _repetition(
    one: Repeat,
    values: tuple[Taken, ...],
    track: Track,
    records: Mapping[LandmarkMeasureId, CutoffRecord],
) -> Repetition:
    def second(frame: int) -> float:
        return round(frame / track.fps, 3)

    held = second(int(one.low[-1]) - int(one.low[0]))
    return Repetition(
        side=one.side,
        start_s=second(one.start),
        bottom_s=second(one.bottom),
        end_s=second(one.end),
        lower_s=second(int(one.low[0]) - one.start),
        bottom_hold_s=held,
        rise_s=second(one.end - int(one.low[-1])),
        depth=round(one.depth, 1),
        values=tuple(
            MeasureValue(
                measure=v.measure,
                side=v.side,
                value=round(v.value, 3),
                unit=records[v.measure].unit,
            )
            for v in values
            if v.measure in records
        ),
    )


def _rounded(s: MeasureSummary) -> MeasureSummary:
    return MeasureSummary(
        measure=s.measure,
        side=s.side,
        value=round(s.value, 3),
        unit=s.unit,
        lowest=round(s.lowest, 3),
        highest=round(s.highest, 3),
        spread=round(s.spread, 3),
        noise=round(s.noise, 3),
        camera=round(s.camera, 3),
        method=round(s.method, 3),
        n=s.n,
        sources=s.sources,
    )


def _differences(summaries: tuple[MeasureSummary, ...]) -> tuple[SideDifference, ...]:
    """Return left minus right of every measure that has both.

    What the camera adds goes opposite ways on the two sides, so it counts twice and not in squares.
    """
    of: dict[tuple[LandmarkMeasureId, Side], MeasureSummary] = {
        (s.measure, s.side): s for s in summaries
    }
    out: list[SideDifference] = []
    for (measure, side), left in sorted(of.items()):
        right = of.get((measure, "right"))
        if side != "left" or right is None or measure in ("pelvis_drop", "trunk_side_lean"):
            continue
        spread = math.sqrt(
            left.noise**2
            + right.noise**2
            + left.method**2
            + right.method**2
            + (left.camera + right.camera) ** 2
        )
        value = left.value - right.value
        out.append(
            SideDifference(
                measure=measure,
                value=round(value, 3),
                unit=left.unit,
                spread=round(spread, 3),
                beyond_noise=abs(value) > 1.96 * spread,
            )
        )
    return tuple(out)


def _series(
    track: Track, repeats: Repeats, curves: Curves, blocked: Blocked, drawn: LandmarkMeasureId
) -> tuple[MeasureSeries, ...]:
    """Return the height and the drawn angle in at most 120 samples each."""
    step = max(1, math.ceil(len(repeats.height) / _SAMPLES))
    out = [_one_series("height", "none", "%", track, step, 100 * repeats.height / track.leg)]
    if drawn not in blocked:
        sides: tuple[Side, Side] = ("left", "right")
        for n, side in enumerate(sides):
            data = curves[drawn].data[0, :, n]
            out.append(_one_series(drawn, side, "deg", track, step, data))
    return tuple(out)


def _one_series(
    measure: LandmarkMeasureId | Literal["height"],
    side: Side,
    unit: LandmarkUnit,
    track: Track,
    step: int,
    data: Array,
) -> MeasureSeries:
    values = data[::step].tolist()
    return MeasureSeries(
        measure=measure,
        side=side,
        unit=unit,
        times_s=tuple(round(n * step / track.fps, 3) for n in range(len(values))),
        values=tuple(round(v, 2) if math.isfinite(v) else None for v in values),
    )
