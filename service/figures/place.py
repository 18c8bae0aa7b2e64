"""Where a body rests: set down on its contacts, and where the things around it are.

Apart from the body because a pose says what rests on what, and not how high.
"""

import math
from collections.abc import Mapping

from msgspec import Struct

from service.figures.body import Stance, Vector, points_of, turned
from service.model.knowledge import FigureRecord
from service.model.pose import PoseView

THICK: Mapping[str, float] = {
    "back": 0.055,
    "chest": 0.055,
    "elbow": 0.022,
    "hand": 0.018,
    "head": 0.09,
    "heel": 0.0,
    "hip": 0.05,
    "knee": 0.034,
    "pelvis": 0.055,
    "shoulder": 0.045,
    "toes": 0.0,
    "waist": 0.055,
}
"""How far the skin lies from the point inside, as drawn; part of body height."""
GROUPS: Mapping[str, tuple[str, ...]] = {
    "back": ("chest", "pelvis"),
    "elbows": ("left_elbow", "right_elbow"),
    "face": ("nose",),
    "feet": ("left_heel", "left_toes", "right_heel", "right_toes"),
    "hands": ("left_hand", "right_hand"),
    "front": ("chest", "pelvis"),
    "head": ("head",),
    "heels": ("left_heel", "right_heel"),
    "knees": ("left_knee", "right_knee"),
    "left_elbow": ("left_elbow",),
    "left_foot": ("left_heel", "left_toes"),
    "left_hand": ("left_hand",),
    "left_knee": ("left_knee",),
    "left_side": ("left_hip", "left_shoulder"),
    "left_toes": ("left_toes",),
    "pelvis": ("pelvis",),
    "right_elbow": ("right_elbow",),
    "right_foot": ("right_heel", "right_toes"),
    "right_hand": ("right_hand",),
    "right_knee": ("right_knee",),
    "right_side": ("right_hip", "right_shoulder"),
    "right_toes": ("right_toes",),
    "shoulders": ("chest",),
    "shins": ("left_knee", "left_toes", "right_knee", "right_toes"),
    "toes": ("left_toes", "right_toes"),
}
HEIGHT: Mapping[str, float] = {
    "bar": 1.2,
    "bench": 0.28,
    "chair": 0.28,
    "step_box": 0.1,
    "wall": 0.6,
}
"""Of a surface in body heights, where nothing rests on the floor to tell it."""
STEPS = 40


class Placed(Struct, frozen=True, kw_only=True):
    """A body in the room: its points, and how high each surface is, or how far off a wall."""

    points: Mapping[str, Vector]
    surfaces: Mapping[str, float]
    stance: Stance


def place(stance: Stance, figure: FigureRecord, heights: Mapping[str, float] = HEIGHT) -> Placed:
    """Return the body set down.

    With two kinds of contact on the floor the whole body is tipped until both touch it; other
    surfaces stand where their contact is. The first contact on the floor lies at x = 0.
    `heights` are of surfaces whose height nothing on the floor tells.
    """
    points = points_of(stance, figure)
    floor = [contact for contact, surface in stance.on.items() if surface == "floor"]
    if len(floor) > 1:
        # somebody on the side is tipped in the plane of the sheet, as everybody else is
        sideways = abs(stance.roll) > 45
        tip = _level(points, floor[0], floor[1], sideways=sideways)
        points = turned(points, tip, sideways=sideways)
    if floor:
        lift = -min(lowest(points, contact) for contact in floor)
    else:
        contact, surface = next(iter(stance.on.items()))
        lift = heights[surface] - lowest(points, contact)
    names = anchor_of(stance)
    shift = -_mean(points, names)
    moved = {name: (x + shift, y, z + lift) for name, (x, y, z) in points.items()}
    surfaces: dict[str, float] = {}
    for contact, surface in stance.on.items():
        if surface == "wall":
            surfaces[surface] = _wall(moved, contact, stance.view)
        elif surface == "bar":
            surfaces[surface] = max(moved[name][2] for name in GROUPS[contact])
        elif surface != "floor":
            surfaces[surface] = lowest(moved, contact)
    return Placed(points=moved, surfaces=surfaces, stance=stance)


def anchor_of(stance: Stance) -> tuple[str, ...]:
    """Return the points that stay where they are: of the first contact, on the floor if any is.

    Heels rise and toes stay, so that a foot does not wander from pose to pose.
    """
    floor = [contact for contact, surface in stance.on.items() if surface == "floor"]
    names = GROUPS[next(iter(floor or stance.on))]
    return tuple(name for name in names if name.endswith("toes")) or names


def before_of(body: Placed, before: Placed) -> dict[str, Vector]:
    """Return the points of the pose before, moved so that what stays now has stayed."""
    names = anchor_of(body.stance)
    shift = _mean(body.points, names) - _mean(before.points, names)
    return {name: (x + shift, y, z) for name, (x, y, z) in before.points.items()}


def _mean(points: Mapping[str, Vector], names: tuple[str, ...]) -> float:
    return sum(points[name][0] for name in names) / len(names)


def skin(name: str) -> float:
    """Return how far the skin lies from a point."""
    return THICK.get(name.removeprefix("left_").removeprefix("right_"), 0.0)


def lowest(points: Mapping[str, Vector], contact: str) -> float:
    """Return the height of the lowest skin of a contact."""
    return min(points[name][2] - skin(name) for name in GROUPS[contact])


def is_beside(contact: str, view: PoseView) -> bool:
    """Return whether a wall that the contact touches stands beside the body.

    Seen square, a wall ahead or behind is the sheet itself, so a hand or a knee of one side
    shows the wall that it is beside.
    """
    return view in ("back", "front") and contact.startswith(("left_", "right_"))


def _wall(points: Mapping[str, Vector], contact: str, view: PoseView) -> float:
    """Return where a wall stands that the contact touches.

    How far forward, behind for the back; how far to the left where it stands beside.
    """
    if is_beside(contact, view):
        ys = [points[name][1] for name in GROUPS[contact]]
        thick = skin(GROUPS[contact][0])
        return max(ys) + thick if contact.startswith("left_") else min(ys) - thick
    xs = [points[name][0] for name in GROUPS[contact]]
    if contact == "face":
        # nobody presses the nose to a wall: there is a ball between
        return max(xs) + 0.1
    behind = contact in ("back", "head", "heels", "pelvis")
    return min(xs) - THICK["back"] if behind else max(xs) + skin(GROUPS[contact][0])


def _level(points: Mapping[str, Vector], first: str, second: str, *, sideways: bool) -> float:
    """Return by how much to tip the body so that both contacts are equally low, by bisection.

    Searched within 60 degrees either way; the smallest tip is taken. 0 where there is none.
    """

    touching = {name: points[name] for name in (*GROUPS[first], *GROUPS[second])}

    def gap(degrees: float) -> float:
        tipped = turned(touching, degrees, sideways=sideways)
        return lowest(tipped, first) - lowest(tipped, second)

    for reach in (15.0, 30.0, 60.0):
        low, high = -reach, reach
        at_low, at_high = gap(low), gap(high)
        if at_low * at_high > 0:
            continue
        for _ in range(STEPS):
            middle = (low + high) / 2
            if math.copysign(1.0, gap(middle)) == math.copysign(1.0, at_low):
                low = middle
            else:
                high = middle
        return (low + high) / 2
    return 0.0
