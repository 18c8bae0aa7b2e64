"""A clip of 2D body landmarks, and what can be said from it: the request and the answer.

Apart from the screen because these are pictures, not judgements; what comes out of them goes
into a screen as observations and measurements.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from service.model.answer import Warning
from service.model.quantities import (
    FindingId,
    LandmarkMeasureId,
    LandmarkUnit,
    Layout,
    MovementId,
    Probability,
    Sex,
    Side,
    View,
)
from service.model.screen import Measurement, Observation

Coordinate = Annotated[float, Meta(ge=-100000, le=100000)]
Point = Annotated[tuple[Coordinate | None, ...], Meta(min_length=3, max_length=3)]
"""x to the right, y downwards, confidence; null stands for a number that is missing."""
Frame = Annotated[tuple[Point, ...], Meta(max_length=33)]
"""The points of one person in the order of the layout."""
Pixels = Annotated[int, Meta(ge=16, le=16384)]


class ImageSize(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The size of the picture in pixels."""

    width: Pixels
    height: Pixels


class Clip(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Landmarks of one person doing one movement, at most 60 s.

    `coordinates` `normalised` means x over the width and y over the height: then `image` is
    needed, because the two are scaled apart. `mirrored` says that the picture was flipped left
    to right before the landmarks were found, as a selfie is: places and labels are flipped back.
    `side` is the standing or front leg where the caller knows it, for movements on one leg.
    """

    movement: MovementId
    view: View
    layout: Layout
    fps: Annotated[float, Meta(ge=1, le=240)]
    frames: Annotated[tuple[Frame, ...], Meta(max_length=3600)]
    coordinates: Literal["normalised", "pixels"] = "pixels"
    image: ImageSize | None = None
    mirrored: bool = False
    sex: Sex | None = None
    side: Literal["left", "none", "right"] = "none"


class MeasureValue(Struct, frozen=True, kw_only=True):
    """A measure in one repetition."""

    measure: LandmarkMeasureId
    side: Side
    value: float
    unit: LandmarkUnit


class Repetition(Struct, frozen=True, kw_only=True):
    """One repetition: its times in seconds from the first frame, and its values.

    `side` is the standing or front leg of a movement on one leg. `depth` is how far the hips
    (or hands) went down, in % of the standing leg's length in the picture.
    """

    side: Side
    start_s: float
    bottom_s: float
    end_s: float
    lower_s: float
    bottom_hold_s: float
    rise_s: float
    depth: float
    values: tuple[MeasureValue, ...]


class MeasureSummary(Struct, frozen=True, kw_only=True):
    """A measure over `n` repetitions: mean, extremes, and one standard error `spread`.

    `noise`, `camera` and `method` are the parts of the spread, added in squares: what varies from
    frame to frame and between repetitions, what the camera's allowed position may add, and the
    method's own error.
    """

    measure: LandmarkMeasureId
    side: Side
    value: float
    unit: LandmarkUnit
    lowest: float
    highest: float
    spread: float
    noise: float
    camera: float
    method: float
    n: int
    sources: tuple[str, ...]


class SideDifference(Struct, frozen=True, kw_only=True):
    """Left minus right; `beyond_noise` if it is larger than 1.96 times its spread."""

    measure: LandmarkMeasureId
    value: float
    unit: LandmarkUnit
    spread: float
    beyond_noise: bool


class UncertainFinding(Struct, frozen=True, kw_only=True):
    """A finding whose grade the clip does not settle: how probable each grade is."""

    finding: FindingId
    side: Side
    measure: LandmarkMeasureId
    value: float
    unit: LandmarkUnit
    spread: float
    n: int
    absent: Probability
    mild: Probability
    marked: Probability
    sources: tuple[str, ...]


class NotObservable(Struct, frozen=True, kw_only=True):
    """A finding or a measure that this clip cannot show, why, and what to do instead."""

    what: FindingId | LandmarkMeasureId
    side: Side
    reason: Literal["camera", "layout", "movement", "points", "repetitions", "view"]
    instead: str


class MeasureSeries(Struct, frozen=True, kw_only=True):
    """A measure over time in brief, at most 120 samples; null where the points are missing."""

    measure: LandmarkMeasureId | Literal["height"]
    side: Side
    unit: LandmarkUnit
    times_s: tuple[float, ...]
    values: tuple[float | None, ...]


class LandmarkAnswer(Struct, frozen=True, kw_only=True):
    """What a clip shows. `observations` and `measurements` go into a screen as they stand.

    `figure` and `chart` are SVG pictures: the deepest point with its angle drawn, and the angle
    over time with the repetitions marked; empty where there is nothing to draw.
    """

    movement: MovementId
    view: View
    layout: Layout
    observations: tuple[Observation, ...]
    measurements: tuple[Measurement, ...]
    uncertain: tuple[UncertainFinding, ...]
    not_observable: tuple[NotObservable, ...]
    repetitions: tuple[Repetition, ...]
    summaries: tuple[MeasureSummary, ...]
    differences: tuple[SideDifference, ...]
    series: tuple[MeasureSeries, ...]
    figure: str
    chart: str
    warnings: tuple[Warning, ...]
