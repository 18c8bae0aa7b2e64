"""Every measure as a curve over time, with what the camera's place may add to it.

Apart from repetitions because geometry needs no notion of one: a curve holds at every frame.

Signs: knee in is positive on both sides; flexion and forward are positive; a line between the
sides is positive where the free side is lower; midline measures are positive towards the
client's left. Angles in degrees; shifts in % of the shank's length when standing.

What the camera adds: a segment that leans by `t` towards or away from the camera shifts sideways
by tan(t) times the camera's turn, so a thigh near horizontal seen from the front cannot be read.
How far a segment leans is told by how much shorter it is than when standing. A camera that
looks down stretches or shortens such a segment along the picture's height, which changes a tilt
by sin(tilt) cos(tilt) tan(t) times how far it looks down.
"""

import math
from collections.abc import Mapping

import numpy as np
from msgspec import Struct

from service.landmarks.clean import Numbers, Track, either
from service.landmarks.layouts import ANKLE, ELBOW, HEEL, HIP, KNEE, SHOULDER, TOE, WRIST
from service.landmarks.smooth import Array, upper
from service.model.landmarks import Clip
from service.model.quantities import LandmarkMeasureId

DEG = 180.0 / math.pi
_STEEPEST = math.tan(math.radians(70.0))
"""Beyond this lean towards the camera a segment shows too little of itself to have a direction."""


class Curve(Struct, frozen=True, kw_only=True):
    """A measure: `data` is (2, frames, columns), smoothed and as read; `camera` (frames, columns).

    Two columns are left and right, one is the midline.
    """

    data: Array
    camera: Array


class Lens(Struct, frozen=True, kw_only=True):
    """What the allowed places of the camera amount to, in radians, and distance in pixels."""

    yaw: float
    roll: float
    down: float
    distance: float
    out_of_plane: float


Curves = Mapping[LandmarkMeasureId, Curve]


def curves_of(clip: Clip, track: Track, facing: float, numbers: Numbers) -> Curves:
    """Return every curve that the view can show."""
    lens = Lens(
        yaw=math.radians(numbers["camera_yaw_deg"]),
        roll=math.radians(numbers["camera_roll_deg"]),
        down=math.radians(numbers["camera_down_deg"]),
        distance=numbers["camera_distance_legs"] * track.leg,
        out_of_plane=math.tan(math.radians(numbers["out_of_plane_deg"])),
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        if clip.view == "side":
            return _from_side(track.points, facing, lens)
        # the client's left is on the right of a picture from the front
        return _from_front(track.points, 1.0 if clip.view == "front" else -1.0, lens)


def tilt(across: Array, along: Array) -> Array:
    """Return the angle of a line from the vertical in degrees, by its two components."""
    return np.arctan2(across, along) * DEG


def projection_angle(hip: Array, knee: Array, ankle: Array, inward: Array) -> Array:
    """Return the angle between thigh line and shin line (Willson 2006), knee in positive.

    Points are (..., 2) with y upwards; `inward` is +1 where the midline lies towards +x.
    """
    shin = tilt(inward * (knee - ankle)[..., 0], (knee - ankle)[..., 1])
    thigh = tilt(inward * (knee - hip)[..., 0], (hip - knee)[..., 1])
    return shin + thigh


def _from_front(points: Array, left: float, lens: Lens) -> Curves:
    hip, knee, ankle = points[:, :, HIP], points[:, :, KNEE], points[:, :, ANKLE]
    shoulder, toe, heel = points[:, :, SHOULDER], points[:, :, TOE], points[:, :, HEEL]
    inward = np.array([-left, left])
    shank, lean_shin = _length_and_lean(knee - ankle)
    _, lean_thigh = _length_and_lean(hip - knee)
    _, lean_trunk = _length_and_lean((either(shoulder) - either(hip))[:, :, None])
    angle = projection_angle(hip, knee, ankle, inward)
    shin_tilt = tilt((knee - ankle)[0, ..., 0], (knee - ankle)[0, ..., 1])
    thigh_tilt = tilt((knee - hip)[0, ..., 0], (hip - knee)[0, ..., 1])
    angle[:, lean_thigh > _STEEPEST] = np.nan
    middle_x = either(hip)[0, :, None, 0]
    # nearer parts look larger: the same as a turn of the camera by the distance off the axis
    turn = np.hypot(lens.yaw, np.abs(knee[0, ..., 0] - middle_x) / lens.distance)
    ahead_shin = lean_shin * np.abs((knee - ankle)[0, ..., 1])
    ahead_thigh = lean_thigh * np.abs((hip - knee)[0, ..., 1])
    part = np.clip((knee - ankle)[..., 1] / (hip - ankle)[..., 1], 0.0, 1.0)
    line = ankle[..., 0] + part * (hip - ankle)[..., 0]
    ahead_knee = ahead_shin * (1 - part[0]) + ahead_thigh * part[0]
    shift = 100 * inward * (knee[..., 0] - line) / shank
    level = tilt(hip[..., 1] - hip[..., ::-1, 1], np.abs(hip[..., 0] - hip[..., ::-1, 0]))
    pelvis = (100 * left * (hip[..., 0].mean(-1) - ankle[..., 0].mean(-1)) / shank.mean())[
        ..., None
    ]
    behind = np.abs(ahead_shin - ahead_thigh).mean(-1, keepdims=True) / shank.mean()
    across = either(shoulder) - either(hip)
    lean = tilt(left * across[..., 0], across[..., 1])[..., None]
    aside = np.sqrt(
        lens.roll**2 + (lens.yaw * lean_trunk) ** 2 + (lens.down * _bend(lean[0]) * lean_trunk) ** 2
    )
    out = -100 * inward * (toe - heel)[..., 0] / shank
    roll = np.full(level.shape[1:], lens.roll * DEG)
    steep = lens.down * (_bend(shin_tilt) * lean_shin + _bend(thigh_tilt) * lean_thigh)
    return {
        # taken from standing, so that a turned camera takes itself away
        "foot_turn_out": Curve(data=out, camera=np.zeros(out.shape[1:])),
        "knee_medial_shift": Curve(data=shift, camera=100 * turn * ahead_knee / shank),
        "knee_projection_angle": Curve(
            data=angle, camera=np.hypot(turn * (lean_shin + lean_thigh), steep) * DEG
        ),
        "pelvis_drop": Curve(data=level, camera=roll),
        "pelvis_shift": Curve(data=pelvis, camera=100 * lens.yaw * behind),
        "trunk_side_lean": Curve(data=lean, camera=aside * DEG),
    }


def _bend(degrees: Array) -> Array:
    """Return how much a tilt changes with the height of the picture: sin times cos."""
    bent: Array = np.abs(np.sin(2 * np.radians(degrees))) / 2
    return bent


def _length_and_lean(segment: Array, along: int = 1) -> tuple[Array, Array]:
    """Return a segment's full length per column, and the tangent of its lean to the camera.

    `along` is the axis of the picture in which the segment lies: 1 upright, 0 level.
    """
    long = np.hypot(segment[0, ..., 0], segment[0, ..., 1])
    full = np.array([upper(long[:, n], 0.95) for n in range(long.shape[1])])
    ahead = np.sqrt(np.maximum(full**2 - long**2, 0.0))
    return full, ahead / np.maximum(np.abs(segment[0, ..., along]), 1e-9)


def _from_side(points: Array, facing: float, lens: Lens) -> Curves:
    hip, knee, ankle = points[:, :, HIP], points[:, :, KNEE], points[:, :, ANKLE]
    shoulder, toe, heel = points[:, :, SHOULDER], points[:, :, TOE], points[:, :, HEEL]
    shin = tilt(facing * (knee - ankle)[..., 0], (knee - ankle)[..., 1])
    thigh = tilt(facing * (knee - hip)[..., 0], (hip - knee)[..., 1])
    lean = tilt(facing * (shoulder - hip)[..., 0], (shoulder - hip)[..., 1])
    hand = np.where(np.isfinite(points[:, :, WRIST]), points[:, :, WRIST], points[:, :, ELBOW])
    arm = _turn(hip - shoulder, hand - shoulder, facing)
    pitch = tilt((heel - toe)[..., 1], facing * (toe - heel)[..., 0])
    # a foot that turns towards a camera above it seems to tip
    _, foot_turn = _length_and_lean(toe - heel, along=0)
    aside = lens.yaw * lens.out_of_plane * DEG
    roll = lens.roll * DEG

    def one(data: Array, camera: float) -> Curve:
        return Curve(data=data, camera=np.full(data.shape[1:], camera))

    trunk = _mean_of_sides(lean)
    return {
        "arm_angle": one(arm, aside),
        "arm_loss": one(_mean_of_sides(-arm), aside),
        "heel_rise": Curve(data=pitch, camera=np.hypot(aside, lens.down * foot_turn * DEG)),
        "hips_lead": one(trunk, aside),
        "knee_flexion": one(shin + thigh, 2 * aside),
        "shin_angle": one(shin, math.hypot(roll, aside)),
        "thigh_angle": one(thigh, math.hypot(roll, aside)),
        "trunk_beyond_shin": one(trunk - shin, 2 * aside),
        "trunk_forward_lean": one(trunk, math.hypot(roll, aside)),
    }


def _turn(start: Array, end: Array, facing: float) -> Array:
    """Return the angle from one direction to another, turning forwards, from -90 to 270."""
    cross = facing * (start[..., 0] * end[..., 1] - start[..., 1] * end[..., 0])
    angle = np.arctan2(cross, (start * end).sum(-1)) * DEG
    turned: Array = np.where(angle < -90, angle + 360, angle)
    return turned


def _mean_of_sides(data: Array) -> Array:
    """Return the middle of left and right (2, frames, 1), or the one that is there."""
    return either(data[..., None])
