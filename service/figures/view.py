"""From a room with three directions to a sheet with two, and what a place on the body is.

Apart from drawing because kit and body are seen by the same rule.
"""

from collections.abc import Mapping
from typing import TypeAlias

from service.figures.body import Vector
from service.model.pose import Place, PoseView

Dot: TypeAlias = tuple[float, float]
"""Right and down, in body heights."""
ASLANT = 0.3
"""How much of the depth shows as a shift in a view from the side, so that both legs are seen."""

POINTS: Mapping[Place, tuple[str, ...]] = {
    "back": ("chest", "pelvis"),
    "belly": ("waist",),
    "between_knees": ("left_knee", "right_knee"),
    "elbows": ("left_elbow", "right_elbow"),
    "feet": ("left_toes", "right_toes"),
    "hands": ("left_hand", "right_hand"),
    "face": ("nose",),
    "head": ("head",),
    "heels": ("left_heel", "right_heel"),
    "hips": ("left_hip", "right_hip"),
    "knees": ("left_knee", "right_knee"),
    "left_elbow": ("left_elbow",),
    "left_foot": ("left_toes",),
    "left_hand": ("left_hand",),
    "left_heel": ("left_heel",),
    "left_knee": ("left_knee",),
    "left_shin": ("left_knee", "left_ankle"),
    "left_thigh": ("left_hip", "left_knee"),
    "right_elbow": ("right_elbow",),
    "right_foot": ("right_toes",),
    "right_hand": ("right_hand",),
    "right_heel": ("right_heel",),
    "right_knee": ("right_knee",),
    "right_shin": ("right_knee", "right_ankle"),
    "right_thigh": ("right_hip", "right_knee"),
    "shins": ("left_shin", "right_shin"),
    "shoulders": ("left_shoulder", "right_shoulder"),
    "thighs": ("left_thigh", "right_thigh"),
    "upper_back": ("chest",),
}
PARTS: Mapping[str, tuple[str, str, float]] = {
    "left_shin": ("left_knee", "left_ankle", 0.75),
    "left_thigh": ("left_hip", "left_knee", 0.8),
    "right_shin": ("right_knee", "right_ankle", 0.75),
    "right_thigh": ("right_hip", "right_knee", 0.8),
}
"""A place along a limb: from, to, and how far."""


def seen_from(point: Vector, view: PoseView) -> tuple[Dot, float]:
    """Return where a point is on the sheet, and how far behind it lies."""
    x, y, z = point
    if view == "front":
        return (y, -z), -x
    if view == "above":
        return (y, ASLANT * 1.5 * x - z), -x
    if view == "back":
        return (-y, -z), x
    return (x + ASLANT * y, -z), y


def ends(points: Mapping[str, Vector], place: Place) -> tuple[Vector, ...]:
    """Return the point or the two points of a place; of both sides the left comes first."""
    if place in PARTS:
        return (_part(points, place),)
    return tuple(_part(points, name) if name in PARTS else points[name] for name in POINTS[place])


def middle(points: Mapping[str, Vector], place: Place, view: PoseView) -> Dot:
    """Return the middle of a place on the sheet."""
    found = [seen_from(point, view)[0] for point in ends(points, place)]
    return sum(x for x, _ in found) / len(found), sum(y for _, y in found) / len(found)


def _part(points: Mapping[str, Vector], place: str) -> Vector:
    first, last, far = PARTS[place]
    a, b = points[first], points[last]
    return (
        a[0] + (b[0] - a[0]) * far,
        a[1] + (b[1] - a[1]) * far,
        a[2] + (b[2] - a[2]) * far,
    )
