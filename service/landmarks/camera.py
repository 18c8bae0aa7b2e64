"""Where the camera stood, as far as the landmarks tell, and which measures that takes away.

Apart from the curves because this judges the clip, not the client: a wrong view or a turned
camera must end in words, not in numbers.
"""

import math

import numpy as np

from service.landmarks.clean import Numbers, Told, Track, either
from service.landmarks.curves import DEG, Curves
from service.landmarks.layouts import ANKLE, HEEL, HIP, KNEE, SHOULDER, TOE
from service.landmarks.repeat import ONE_LEG, Repeats
from service.landmarks.smooth import Array, middle
from service.model.landmarks import Clip
from service.model.quantities import LandmarkMeasureId

Blocked = frozenset[LandmarkMeasureId]

_BY_TURN: Blocked = frozenset(
    ("knee_medial_shift", "knee_projection_angle", "knee_projection_excursion", "pelvis_shift")
)
_BY_TILT: Blocked = frozenset(
    ("pelvis_drop", "shin_angle", "thigh_angle", "trunk_forward_lean", "trunk_side_lean")
)
_FACES = 0.03
"""Least mean lead of the front of the body, in legs, that tells which way a client faces."""


def facing_of(track: Track) -> float:
    """Return +1 if a client filmed from the side faces right in the picture, -1 left, 0 unclear.

    Told by feet where there are any, and by knees and shoulders that come forward on the way
    down.
    """
    x = track.points[0, ..., 0]
    lead = np.concatenate(
        [
            (x[:, KNEE] - (x[:, HIP] + x[:, ANKLE]) / 2).ravel(),
            (x[:, SHOULDER] - x[:, HIP]).ravel() / 2,
            (x[:, TOE] - x[:, HEEL]).ravel(),
        ]
    )
    seen = lead[np.isfinite(lead)]
    mean = float(seen.mean()) / track.leg if seen.size else 0.0
    return 0.0 if abs(mean) < _FACES else math.copysign(1.0, mean)


def check_camera(
    clip: Clip, track: Track, repeats: Repeats, curves: Curves, numbers: Numbers
) -> tuple[Blocked, tuple[Told, ...]]:
    """Return the measures that this camera takes away, and the warnings that say so."""
    every: Blocked = frozenset((*curves, "knee_projection_excursion", "knee_wobble"))
    points = track.points[0]
    standing = points[repeats.standing] if repeats.standing.size else points
    if not _view_fits(clip, standing, numbers):
        return every, (("view_contradicted", "/view", (("view", clip.view),)),)
    if clip.view != "side":
        wide = middle(points[:, HIP][:, 0, 0] - points[:, HIP][:, 1, 0])
        if wide * (1.0 if clip.view == "front" else -1.0) < 0:
            return every, (("sides_contradict_view", "/mirrored", (("view", clip.view),)),)
    blocked: Blocked = frozenset()
    told: list[Told] = []
    roll = _roll(clip, standing, repeats)
    limit = numbers["roll_limit_deg"] * (2 if clip.view == "side" else 1)
    if abs(roll) > limit:
        blocked |= _BY_TILT
        told.append(("camera_tilted", "/frames", (("degrees", f"{abs(roll):.0f}"),)))
    turn = _turn_of(clip, track, repeats, curves)
    if abs(turn) > numbers["yaw_limit_deg"]:
        blocked |= _BY_TURN
        told.append(("camera_off_centre", "/frames", (("degrees", f"{abs(turn):.0f}"),)))
    return blocked, tuple(told)


def _view_fits(clip: Clip, standing: Array, numbers: Numbers) -> bool:
    """Return whether the shoulders are as wide as the view says: wide from the front, else not."""
    width = middle(np.abs(standing[:, SHOULDER][:, 0, 0] - standing[:, SHOULDER][:, 1, 0]))
    trunk = either(standing[:, SHOULDER]) - either(standing[:, HIP])
    limit = middle(np.hypot(trunk[:, 0], trunk[:, 1])) * numbers["shoulders_in_trunk"] / 2
    if not math.isfinite(width + limit):
        return True
    return width < limit if clip.view == "side" else width > limit


def _roll(clip: Clip, standing: Array, repeats: Repeats) -> float:
    """Return how far the camera seems rolled, in degrees; 0 where nothing level is seen."""
    if clip.view == "side":
        feet = either(standing[:, ANKLE])
        if clip.movement in ONE_LEG and clip.movement != "split_squat":
            stands = {one.side for one in repeats.found}
            if stands not in ({"left"}, {"right"}):
                return 0.0
            feet = standing[:, ANKLE][:, 0 if stands == {"left"} else 1]
        up = either(standing[:, SHOULDER]) - feet
        lean = math.atan2(middle(up[:, 0]), middle(up[:, 1])) * DEG
        upright = clip.movement not in ("push_up", "row", "single_leg_stance")
        return lean if upright and math.isfinite(lean) else 0.0
    level = [HIP, SHOULDER] if clip.movement in ONE_LEG else [ANKLE, HIP, SHOULDER]
    tilts: list[float] = []
    for pair in level:
        line = standing[:, pair][:, 0] - standing[:, pair][:, 1]
        slope = middle(line[:, 1] / np.where(line[:, 0] == 0, np.nan, line[:, 0]))
        if math.isfinite(slope):
            tilts.append(math.atan(slope) * DEG)
    if not tilts or min(tilts) * max(tilts) <= 0:
        return 0.0
    return min(tilts, key=abs)


def _turn_of(clip: Clip, track: Track, repeats: Repeats, curves: Curves) -> float:
    """Return how far the camera seems turned, in degrees, by both knees going one way.

    A turned camera shows one knee in and the other out; the smaller of the two tells of the
    camera, for one knee alone tells of the client. On one leg it cannot be told at all.
    """
    shift = curves.get("knee_medial_shift")
    if clip.movement in ONE_LEG or shift is None or not repeats.found:
        return 0.0
    low = np.concatenate([r.low for r in repeats.found])
    each = shift.data[0, low]
    points = track.points[0, low]
    shank = points[:, KNEE, 1] - points[:, ANKLE, 1]
    ahead = np.sqrt(np.maximum((0.5 * track.leg) ** 2 - shank**2, (0.2 * track.leg) ** 2))
    left, right = middle(each[:, 0]), middle(each[:, 1])
    common = min(abs(left), abs(right)) if left * right < 0 else 0.0
    reach = 100 * middle(ahead.mean(-1)) / (0.5 * track.leg)
    turn = math.atan2(common, reach) * DEG
    return turn if math.isfinite(turn) else 0.0
