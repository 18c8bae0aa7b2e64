"""From joint angles to points in space: forward kinematics of one body.

Apart from drawing because here a body only stands in the air; where it rests and how it looks
come later. x is forward, y to the left, z up; lengths are parts of body height.
"""

import math
from collections.abc import Mapping
from typing import TypeAlias

from msgspec import Struct

from service.model.knowledge import FigureRecord, PostureRecord
from service.model.pose import Angles, Contact, Pose, PoseView, Surface

Vector: TypeAlias = tuple[float, float, float]
Matrix: TypeAlias = tuple[Vector, Vector, Vector]
"""Rows."""
SIDES = (("left", 1.0), ("right", -1.0))
IDENTITY: Matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


class Stance(Struct, frozen=True, kw_only=True):
    """A pose with its posture filled in: every angle, the attitude of the whole, and the view."""

    left: Mapping[str, float]
    right: Mapping[str, float]
    lean: float
    roll: float
    turn: float
    view: PoseView
    on: Mapping[Contact, Surface]


def stance_of(pose: Pose, posture: PostureRecord) -> Stance:
    """Return the pose with what its posture says where the pose says nothing.

    What the pose rests on replaces all that the posture does.
    """
    return Stance(
        left=_merged(posture.joints, posture.left, pose.joints, pose.left),
        right=_merged(posture.joints, posture.right, pose.joints, pose.right),
        lean=posture.lean if pose.lean is None else pose.lean,
        roll=posture.roll if pose.roll is None else pose.roll,
        turn=posture.turn if pose.turn is None else pose.turn,
        view=pose.view or posture.view,
        on=pose.on or posture.on,
    )


def _merged(*angles: Angles) -> dict[str, float]:
    """Return all angles, the later counting before the earlier."""
    return {joint: value for one in angles for joint, value in one.items()}


def points_of(stance: Stance, figure: FigureRecord) -> dict[str, Vector]:
    """Return every named point of the body, the middle of the pelvis at the origin."""
    lengths = figure.lengths
    root = _times(_about_z(stance.turn), _times(_about_y(stance.lean), _about_x(-stance.roll)))
    points: dict[str, Vector] = {"pelvis": (0.0, 0.0, 0.0)}
    half = {key: stance.left.get(f"trunk_{key}", 0.0) / 2 for key in ("flexion", "side", "turn")}
    bend = _times(
        _about_y(half["flexion"]), _times(_about_x(-half["side"]), _about_z(half["turn"]))
    )
    low = _times(root, bend)
    high = _times(low, bend)
    points["waist"] = _along(points["pelvis"], low, (0.0, 0.0, lengths["trunk"] / 2))
    points["chest"] = _along(points["waist"], high, (0.0, 0.0, lengths["trunk"] / 2))
    neck = _times(high, _about_y(stance.left.get("neck_flexion", 0.0)))
    points["throat"] = _along(points["chest"], neck, (0.0, 0.0, lengths["neck"]))
    radius = lengths["head"] / 2
    points["head"] = _along(points["throat"], neck, (radius * 0.25, 0.0, radius))
    points["nose"] = _along(points["head"], neck, (radius * 1.28, 0.0, 0.0))
    points["front"] = _along(points["chest"], high, (0.05, 0.0, 0.0))
    for name, sign in SIDES:
        angles = stance.left if name == "left" else stance.right
        _leg(points, name, sign, angles, root, figure)
        _arm(points, name, sign, angles, high, figure)
    return points


def _leg(
    points: dict[str, Vector],
    name: str,
    sign: float,
    angles: Mapping[str, float],
    root: Matrix,
    figure: FigureRecord,
) -> None:
    lengths = figure.lengths
    hip = _along(points["pelvis"], root, (0.0, sign * lengths["hip_breadth"] / 2, 0.0))
    thigh = _times(root, _limb(angles, "hip", sign))
    knee = _along(hip, thigh, (0.0, 0.0, -lengths["thigh"]))
    shank = _times(thigh, _about_y(angles.get("knee_flexion", 0.0)))
    ankle = _along(knee, shank, (0.0, 0.0, -lengths["shank"]))
    foot = _times(shank, _about_y(-angles.get("ankle_dorsiflexion", 0.0)))
    down = -lengths["ankle_height"]
    points[f"{name}_hip"] = hip
    points[f"{name}_knee"] = knee
    points[f"{name}_ankle"] = ankle
    points[f"{name}_heel"] = _along(ankle, foot, (-lengths["heel"], 0.0, down))
    points[f"{name}_toes"] = _along(ankle, foot, (lengths["foot"] - lengths["heel"], 0.0, down))


def _arm(
    points: dict[str, Vector],
    name: str,
    sign: float,
    angles: Mapping[str, float],
    chest: Matrix,
    figure: FigureRecord,
) -> None:
    lengths = figure.lengths
    shoulder = _along(points["chest"], chest, (0.0, sign * lengths["shoulder_breadth"] / 2, 0.0))
    upper = _times(chest, _limb(angles, "shoulder", sign))
    elbow = _along(shoulder, upper, (0.0, 0.0, -lengths["upper_arm"]))
    fore = _times(upper, _about_y(-angles.get("elbow_flexion", 0.0)))
    wrist = _along(elbow, fore, (0.0, 0.0, -lengths["forearm"]))
    hand = _times(fore, _about_y(-angles.get("wrist_extension", 0.0)))
    points[f"{name}_shoulder"] = shoulder
    points[f"{name}_elbow"] = elbow
    points[f"{name}_wrist"] = wrist
    points[f"{name}_hand"] = _along(wrist, hand, (0.0, 0.0, -lengths["hand"]))


def _limb(angles: Mapping[str, float], joint: str, sign: float) -> Matrix:
    """Return flexion forward, then abduction outward, then inward rotation about the limb."""
    flexion = _about_y(-angles.get(f"{joint}_flexion", 0.0))
    abduction = _about_x(sign * angles.get(f"{joint}_abduction", 0.0))
    rotation = _about_z(-sign * angles.get(f"{joint}_internal_rotation", 0.0))
    return _times(flexion, _times(abduction, rotation))


def turned(points: Mapping[str, Vector], degrees: float, *, sideways: bool) -> dict[str, Vector]:
    """Return the body tipped about the pelvis by so much, forward or to the right."""
    tip = _about_x(degrees) if sideways else _about_y(degrees)
    return {name: _along((0.0, 0.0, 0.0), tip, point) for name, point in points.items()}


def _about_x(degrees: float) -> Matrix:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return ((1.0, 0.0, 0.0), (0.0, c, -s), (0.0, s, c))


def _about_y(degrees: float) -> Matrix:
    """Return the turn that tips what points up forward."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return ((c, 0.0, s), (0.0, 1.0, 0.0), (-s, 0.0, c))


def _about_z(degrees: float) -> Matrix:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return ((c, -s, 0.0), (s, c, 0.0), (0.0, 0.0, 1.0))


def _times(a: Matrix, b: Matrix) -> Matrix:
    first, second, third = [_turn(a, column) for column in zip(*b, strict=True)]
    return (
        (first[0], second[0], third[0]),
        (first[1], second[1], third[1]),
        (first[2], second[2], third[2]),
    )


def _turn(frame: Matrix, step: Vector) -> Vector:
    """Return the step as seen from outside the frame; written out, since a pack has many poses."""
    x, y, z = step
    (a, b, c), (d, e, f), (g, h, i) = frame
    return a * x + b * y + c * z, d * x + e * y + f * z, g * x + h * y + i * z


def _along(start: Vector, frame: Matrix, step: Vector) -> Vector:
    x, y, z = _turn(frame, step)
    return start[0] + x, start[1] + y, start[2] + z
