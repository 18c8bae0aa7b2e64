"""How a body is drawn: a posture, what differs from it, and the kit around it.

Apart from the other records because a picture is geometry: angles in degrees, lengths as parts
of body height.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

Joint = Literal[
    "ankle_dorsiflexion",
    "elbow_flexion",
    "hip_abduction",
    "hip_flexion",
    "hip_internal_rotation",
    "knee_flexion",
    "shoulder_abduction",
    "shoulder_flexion",
    "shoulder_internal_rotation",
    "wrist_extension",
]
"""Joints with a left and a right one. 0 is standing straight with the arms hanging."""
Axis = Literal["neck_flexion", "trunk_flexion", "trunk_side", "trunk_turn"]
"""Of the midline. `trunk_side` and `trunk_turn` are towards the left."""
Segment = Literal[
    "ankle_height",
    "foot",
    "forearm",
    "hand",
    "head",
    "heel",
    "hip_breadth",
    "neck",
    "shank",
    "shoulder_breadth",
    "thigh",
    "trunk",
    "upper_arm",
]
Contact = Literal[
    "back",
    "elbows",
    "face",
    "feet",
    "front",
    "hands",
    "head",
    "heels",
    "knees",
    "left_elbow",
    "left_foot",
    "left_hand",
    "left_knee",
    "left_side",
    "left_toes",
    "pelvis",
    "right_elbow",
    "right_foot",
    "right_hand",
    "right_knee",
    "right_side",
    "right_toes",
    "shins",
    "shoulders",
    "toes",
]
Surface = Literal["bar", "bench", "chair", "floor", "step_box", "wall"]
"""Floor, wall and something to sit on are always there and no kit."""
PoseView = Literal["above", "back", "front", "side"]
"""`above` is from the front and from above, for somebody who lies on the side."""
Limb = Literal["left_arm", "left_leg", "right_arm", "right_leg", "trunk"]
Place = Literal[
    "back",
    "belly",
    "between_knees",
    "elbows",
    "face",
    "feet",
    "hands",
    "head",
    "heels",
    "hips",
    "knees",
    "left_elbow",
    "left_foot",
    "left_hand",
    "left_heel",
    "left_knee",
    "left_shin",
    "left_thigh",
    "right_elbow",
    "right_foot",
    "right_hand",
    "right_heel",
    "right_knee",
    "right_shin",
    "right_thigh",
    "shins",
    "shoulders",
    "thighs",
    "upper_back",
]
Angle = Annotated[float, Meta(ge=-180, le=180)]
Angles = dict[Joint | Axis, Angle]


class KitPlace(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A thing in the picture: a kit id, where it is held or lies, and where it is fixed.

    `anchor` is where a band, cable or strap ends: (forward, up) from the first contact.
    """

    kit: Annotated[str, Meta(min_length=1)]
    at: Place
    anchor: Annotated[tuple[float, ...], Meta(min_length=2, max_length=2)] | None = None


class Pose(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One moment of a drill: a posture of the pack and what differs from it.

    `joints` is for both sides, `left` and `right` for one; what is given here counts before the
    posture. Drills done on each side are drawn with the right side working. `lean`, `roll` and
    `turn` tip the whole body forward, to the left side and round to the left. `on` says what
    rests where; `works` which limbs do the work; `moves` which point the arrow follows from the
    pose before.
    """

    posture: Annotated[str, Meta(min_length=1)]
    joints: Angles = {}
    left: Angles = {}
    right: Angles = {}
    lean: Angle | None = None
    roll: Angle | None = None
    turn: Angle | None = None
    view: PoseView | None = None
    on: dict[Contact, Surface] = {}
    kit: tuple[KitPlace, ...] = ()
    works: tuple[Limb, ...] = ()
    moves: Place | None = None
