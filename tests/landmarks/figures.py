"""A body in three dimensions with known joint angles, and a pinhole camera that films it.

The truth of a measure is taken from the body itself, seen from infinitely far and dead square:
what a camera that stands elsewhere reports is then an error, and its size is known.

Metres; x to the client's left, y forwards, z up. A leg is placed by where hip and ankle are, by
the lengths of thigh and shank, and by how far the knee swivels inwards about the line between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from service.landmarks.layouts import SIZES, TABLES
from service.model.landmarks import Clip, ImageSize
from service.model.quantities import Layout, MovementId, Sex, View

Array = npt.NDArray[np.float64]
SHANK, THIGH, TRUNK, UPPER_ARM, FOREARM = 0.43, 0.42, 0.50, 0.30, 0.27
HIP_HALF, SHOULDER_HALF, ANKLE_HEIGHT, HEEL_BACK, TOE_AHEAD = 0.085, 0.18, 0.08, 0.05, 0.17
WIDTH, HEIGHT = 1080, 1920


@dataclass(frozen=True)
class Body:
    """What the client does: angles in degrees, shifts in metres, all of it at the bottom."""

    movement: MovementId = "squat"
    knee_flexion: float = 90.0
    shin: float = 28.0
    swivel: tuple[float, float] = (0.0, 0.0)
    """How far each knee turns inwards about the line from hip to ankle, left then right."""
    trunk: float = 35.0
    side_lean: float = 0.0
    shift: float = 0.0
    """Of the hips towards the client's left."""
    pelvis: float = 0.0
    """Roll of the pelvis, right side down positive."""
    wobble: float = 0.0
    """Size of a sideways swing of the knees at 2.5 Hz, degrees of swivel."""
    arm_start: float = 20.0
    arm_bottom: float = 20.0
    heel: float = 0.0
    lead: float = 0.0
    """How much further the trunk tips a third of the way up."""
    toe_swing: float = 0.0
    """How far the toes swing out, degrees."""
    half_stance: float = 0.13
    stance: str = "both"
    """`left` or `right` for one leg, else `both`."""
    repeats: int = 3
    seconds: float = 3.0
    scatter: float = 0.0
    """Spread between repetitions of the swivel, degrees."""


@dataclass(frozen=True)
class Camera:
    """Where the camera stands: metres, degrees, pixels."""

    view: View = "front"
    distance: float = 3.5
    height: float = 0.8
    yaw: float = 0.0
    roll: float = 0.0
    focal: float = 2600.0
    noise: float = 0.0
    dropped: float = 0.0
    fps: float = 30.0
    aim: float = 0.85
    offset: float = 0.0


@dataclass
class Filmed:
    """A clip as arrays, and what is true at the bottom of its repetitions."""

    body: Body
    camera: Camera
    points: dict[str, Array]
    """Name -> frames x 3, in the body's frame."""
    truth: dict[str, float] = field(default_factory=dict)


def depth_over_time(body: Body, fps: float) -> Array:
    """Return 0 standing to 1 at the bottom: a second of rest, then smooth repetitions."""
    rest = 0.7
    total = rest + body.repeats * (body.seconds + rest)
    t = np.arange(round(total * fps) + 1) / fps
    phase = (t - rest) % (body.seconds + rest)
    moving = (t >= rest) & (phase < body.seconds)
    return np.where(moving, 0.5 - 0.5 * np.cos(2 * math.pi * phase / body.seconds), 0.0)


def pose(body: Body, part: Array, fps: float, seed: int = 0) -> dict[str, Array]:
    """Return every point over time."""
    count = len(part)
    time = np.arange(count) / fps
    zero = np.zeros(count)
    rng = np.random.default_rng(seed)
    number = np.minimum(
        (np.maximum(time - 0.35, 0) / (body.seconds + 0.7)).astype(int), body.repeats - 1
    )
    scatter = body.scatter * rng.standard_normal((2, body.repeats))
    knee = np.radians(4 + (body.knee_flexion - 4) * part)
    shin = np.radians(2 + (body.shin - 2) * part)
    thigh = knee - shin
    # sagittal plane: hips over the ankles by the two segments, in metres
    ahead = SHANK * np.sin(shin) - THIGH * np.sin(thigh)
    up = SHANK * np.cos(shin) + THIGH * np.cos(thigh)
    one_leg = body.stance != "both"
    stance_x = {"left": HIP_HALF, "right": -HIP_HALF, "both": 0.0}[body.stance]
    roll = np.radians(body.pelvis) * (part if body.movement != "single_leg_stance" else 1 + zero)
    centre = np.stack([body.shift * part + stance_x * 0, ahead, ANKLE_HEIGHT + up], axis=1)
    if one_leg:
        # the pelvis turns about the standing hip
        sign = 1.0 if body.stance == "left" else -1.0
        centre[:, 2] -= HIP_HALF * np.sin(roll * sign) * sign * sign
    out: dict[str, Array] = {}
    for n, (name, sign) in enumerate((("left", 1.0), ("right", -1.0))):
        hip = centre + np.stack(
            [sign * HIP_HALF * np.cos(roll), zero, sign * HIP_HALF * np.sin(roll)], axis=1
        )
        foot = sign * (HIP_HALF if one_leg else body.half_stance)
        rise = np.radians(body.heel) * part
        ankle = np.stack([foot + zero, zero, ANKLE_HEIGHT + zero], axis=1)
        if one_leg and body.stance != name:
            # hangs beside the standing leg, bent, and goes down with the hips
            ankle = hip + np.array([sign * 0.02, -0.25, -0.62])
        swing = body.wobble * np.sin(2 * math.pi * 2.5 * time) * (part > 0.02)
        angle = np.radians((body.swivel[n] + scatter[n][number]) * part + swing)
        out[f"{name}_hip"], out[f"{name}_ankle"] = hip, ankle
        out[f"{name}_knee"] = knee_between(hip, ankle, -sign * np.sin(angle), np.cos(angle))
        toe_out = np.radians(10 + body.toe_swing * part)
        along = np.stack([sign * np.sin(toe_out), np.cos(toe_out), zero], axis=1)
        flat = np.array([0.0, 0.0, 1.0])
        down = ankle - ANKLE_HEIGHT * flat
        out[f"{name}_toe"] = down + TOE_AHEAD * along
        out[f"{name}_heel"] = (
            down - HEEL_BACK * along + (HEEL_BACK + TOE_AHEAD) * np.tan(rise)[:, None] * flat
        )
    _upper_body(body, part, centre, out)
    return out


def _upper_body(body: Body, part: Array, centre: Array, out: dict[str, Array]) -> None:
    rising = np.concatenate([[False], np.diff(part) < 0])
    bump = np.where(rising, np.sin(math.pi * np.clip(1 - part, 0, 0.667) / 0.667), 0.0)
    still = body.movement == "single_leg_stance"
    lean = np.radians(2 + (body.trunk - 2) * part + body.lead * bump)
    aside = np.radians(body.side_lean) * (np.ones_like(part) if still else part)
    # side lean is the tilt of the trunk in the picture from the front
    up = np.stack([np.tan(aside), np.tan(lean), np.ones_like(part)], axis=1)
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    neck = centre + TRUNK * up
    arm = np.radians(body.arm_start + (body.arm_bottom - body.arm_start) * part)
    zero = np.zeros_like(part)
    # the arm turns forwards from the line of the trunk, in the plane of forwards and up
    facing = np.stack([zero, np.sin(lean), np.cos(lean)], axis=1)
    ahead = np.stack([zero, np.cos(lean), -np.sin(lean)], axis=1)
    along = -np.cos(arm)[:, None] * facing + np.sin(arm)[:, None] * ahead
    for name, sign in (("left", 1.0), ("right", -1.0)):
        out[f"{name}_shoulder"] = neck + np.array([sign * SHOULDER_HALF, 0, 0])
        out[f"{name}_elbow"] = out[f"{name}_shoulder"] + UPPER_ARM * along
        out[f"{name}_wrist"] = out[f"{name}_elbow"] + FOREARM * along
    out["nose"] = neck + np.array([0, 0.1, 0.2])


def knee_between(hip: Array, ankle: Array, across: Array, ahead: Array) -> Array:
    """Return the knee of a leg: where the two segments meet, turned by (across, ahead)."""
    axis = hip - ankle
    length = np.linalg.norm(axis, axis=1)
    length = np.minimum(length, SHANK + THIGH - 1e-6)
    unit = axis / np.linalg.norm(axis, axis=1, keepdims=True)
    along = (length**2 + SHANK**2 - THIGH**2) / (2 * length)
    radius = np.sqrt(np.maximum(SHANK**2 - along**2, 0.0))
    forward = np.array([0.0, 1.0, 0.0]) - unit * unit[:, 1, None]
    forward /= np.linalg.norm(forward, axis=1, keepdims=True)
    sideways = np.cross(forward, unit)
    return (
        ankle
        + along[:, None] * unit
        + radius[:, None] * (ahead[:, None] * forward + across[:, None] * sideways)
    )


def project(points: dict[str, Array], camera: Camera) -> dict[str, Array]:
    """Return pixels (frames x 2), y downwards, as the camera sees the points."""
    turn = math.radians({"front": 0.0, "back": 180.0, "side": -90.0}[camera.view] + camera.yaw)
    # the camera walks round the client and looks at the middle of the body
    place = np.array(
        [camera.distance * math.sin(turn), camera.distance * math.cos(turn), camera.height]
    )
    aim = np.array([camera.offset, 0.0, camera.aim])
    look = (aim - place) / np.linalg.norm(aim - place)
    # x runs to the client's left, so these axes are left-handed
    right = np.cross(np.array([0.0, 0.0, 1.0]), look)
    right /= np.linalg.norm(right)
    down = np.cross(right, look)
    roll = math.radians(camera.roll)
    right, down = (
        math.cos(roll) * right + math.sin(roll) * down,
        math.cos(roll) * down - math.sin(roll) * right,
    )
    out = {}
    for name, at in points.items():
        ray = at - place
        depth = ray @ look
        out[name] = np.stack(
            [
                WIDTH / 2 + camera.focal * (ray @ right) / depth,
                HEIGHT / 2 + camera.focal * (ray @ down) / depth,
            ],
            axis=1,
        )
    return out


def film(body: Body, camera: Camera, seed: int = 0) -> Filmed:
    """Return a body filmed, with the truth."""
    points = pose(body, depth_over_time(body, camera.fps), camera.fps, seed)
    filmed = Filmed(body=body, camera=camera, points=points)
    filmed.truth = truth_of(body, seed)
    return filmed


def clip_of(
    filmed: Filmed,
    layout: Layout = "body33",
    seed: int = 0,
    *,
    image: bool = True,
    sex: Sex | None = None,
) -> Clip:
    """Return the request, with the camera's noise and dropped points."""
    rng = np.random.default_rng(seed)
    pixels = project(filmed.points, filmed.camera)
    count = len(next(iter(pixels.values())))
    grid = np.zeros((count, SIZES[layout], 3))
    for name, index in TABLES[layout].items():
        if name in pixels:
            grid[:, index, :2] = pixels[name] + filmed.camera.noise * rng.standard_normal(
                (count, 2)
            )
            grid[:, index, 2] = np.where(rng.random(count) < filmed.camera.dropped, 0.05, 0.92)
    return Clip(
        movement=filmed.body.movement,
        view=filmed.camera.view,
        layout=layout,
        fps=filmed.camera.fps,
        frames=frames_of(grid),
        image=ImageSize(width=WIDTH, height=HEIGHT) if image else None,
        sex=sex,
    )


def frames_of(grid: Array) -> tuple[tuple[tuple[float, ...], ...], ...]:
    """Return frames as the request holds them."""
    return tuple(tuple(tuple(point) for point in frame) for frame in grid.tolist())


def grid_of(clip: Clip) -> Array:
    """Return the frames of a request as an array (frames x points x 3)."""
    return np.array(clip.frames, dtype=np.float64)


def truth_of(body: Body, seed: int = 0) -> dict[str, float]:
    """Return the true values at the bottom, from the body itself, dead square, without camera.

    Keys are `measure/side`; shifts in % of the shank, angles in degrees. Spread between
    repetitions is averaged.
    """
    low = pose(replace(body, scatter=0.0), np.array([0.0, 1.0]), 1.0, seed)
    if body.scatter:
        rng = np.random.default_rng(seed)
        mean = body.scatter * rng.standard_normal((2, body.repeats)).mean(axis=1)
        turned = (body.swivel[0] + float(mean[0]), body.swivel[1] + float(mean[1]))
        low = pose(replace(body, scatter=0.0, wobble=0.0, swivel=turned), np.array([0.0, 1.0]), 1.0)
    rest = {name: at[0] for name, at in low.items()}
    at = {name: place[1] for name, place in low.items()}
    shoulders = (at["left_shoulder"] + at["right_shoulder"]) / 2
    hips = (at["left_hip"] + at["right_hip"]) / 2
    feet = (at["left_ankle"] + at["right_ankle"]) / 2
    out = {
        "trunk_forward_lean/none": body.trunk,
        "trunk_side_lean/none": math.degrees(
            math.atan2(shoulders[0] - hips[0], shoulders[2] - hips[2])
        ),
        "pelvis_shift/none": 100 * (hips[0] - feet[0]) / SHANK,
        "arm_loss/none": body.arm_start - body.arm_bottom,
        "hips_lead/none": _lead(body),
    }
    out |= _wobble(body) if body.wobble else {"knee_wobble/left": 0.0, "knee_wobble/right": 0.0}
    for name, sign in (("left", 1.0), ("right", -1.0)):
        hip, knee, ankle = (at[f"{name}_{joint}"] for joint in ("hip", "knee", "ankle"))
        other = at[f"{'right' if name == 'left' else 'left'}_hip"]
        shin = math.degrees(math.atan2(-sign * (knee - ankle)[0], (knee - ankle)[2]))
        thigh = math.degrees(math.atan2(-sign * (knee - hip)[0], (hip - knee)[2]))
        part = min(1.0, max(0.0, float((knee - ankle)[2] / (hip - ankle)[2])))
        line = ankle[0] + part * (hip - ankle)[0]
        lean = math.degrees(math.atan2((knee - ankle)[1], (knee - ankle)[2]))
        tipped = math.degrees(math.atan2((knee - hip)[1], (hip - knee)[2]))
        toe, heel = at[f"{name}_toe"], at[f"{name}_heel"]
        toe0, heel0 = rest[f"{name}_toe"], rest[f"{name}_heel"]
        out |= {
            f"trunk_side_lean/{name}": sign * out["trunk_side_lean/none"],
            f"knee_projection_angle/{name}": shin + thigh,
            f"knee_medial_shift/{name}": 100 * -sign * (knee[0] - line) / SHANK,
            f"pelvis_drop/{name}": math.degrees(
                math.atan2(hip[2] - other[2], abs(hip[0] - other[0]))
            ),
            f"shin_angle/{name}": lean,
            f"thigh_angle/{name}": tipped,
            f"knee_flexion/{name}": lean + tipped,
            f"trunk_beyond_shin/{name}": body.trunk - lean,
            f"arm_angle/{name}": body.arm_bottom,
            f"heel_rise/{name}": math.degrees(math.atan2((heel - toe)[2], (toe - heel)[1])),
            f"foot_turn_out/{name}": 100 * sign * ((toe - heel)[0] - (toe0 - heel0)[0]) / SHANK,
        }
    mean = (out["trunk_beyond_shin/left"] + out["trunk_beyond_shin/right"]) / 2
    out["trunk_beyond_shin/none"] = mean
    return out


def _lead(body: Body) -> float:
    """Return how much further the trunk tips by the time the hips have risen a third."""
    part = 0.5 + 0.5 * np.cos(np.linspace(0, math.pi, 801))
    way = pose(replace(body, scatter=0.0, wobble=0.0), part, 1.0)
    hips = (way["left_hip"] + way["right_hip"]) / 2
    up = (way["left_shoulder"] + way["right_shoulder"]) / 2 - hips
    lean = np.degrees(np.arctan2(up[:, 1], up[:, 2]))
    third = int(np.flatnonzero(hips[:, 2] >= hips[0, 2] + (hips[-1, 2] - hips[0, 2]) / 3)[0])
    return float(lean[third] - lean[1])


def _wobble(body: Body) -> dict[str, float]:
    """Return the root mean square of the knees' swing, against the same body without it."""
    fps = 60.0
    part = depth_over_time(body, fps)
    calm = pose(replace(body, wobble=0.0, scatter=0.0), part, fps)
    way = pose(replace(body, scatter=0.0), part, fps)
    moving = part > 0.02
    out = {}
    for name in ("left", "right"):
        swing = (way[f"{name}_knee"] - calm[f"{name}_knee"])[moving, 0]
        out[f"knee_wobble/{name}"] = float(100 * np.sqrt((swing**2).mean()) / SHANK)
    return out
