"""Where each body point stands in a layout, and in the arrays of this room.

Apart from the rest because a caller who maps another layout needs these tables and nothing else.
"""

from collections.abc import Mapping

from service.model.quantities import Layout

SIDES: tuple[str, str] = ("left", "right")
JOINTS: tuple[str, ...] = (
    "shoulder",
    "elbow",
    "wrist",
    "hip",
    "knee",
    "ankle",
    "heel",
    "toe",
)
POINTS: tuple[str, ...] = tuple(f"{side}_{joint}" for joint in JOINTS for side in SIDES)
"""The points that are used, in the order of the arrays here: joint by joint, left then right."""

SHOULDER, ELBOW, WRIST, HIP, KNEE, ANKLE, HEEL, TOE = (slice(2 * n, 2 * n + 2) for n in range(8))

SIZES: Mapping[Layout, int] = {"coco17": 17, "body33": 33}
TABLES: Mapping[Layout, Mapping[str, int]] = {
    "coco17": {
        "nose": 0,
        "left_eye": 1,
        "right_eye": 2,
        "left_ear": 3,
        "right_ear": 4,
        "left_shoulder": 5,
        "right_shoulder": 6,
        "left_elbow": 7,
        "right_elbow": 8,
        "left_wrist": 9,
        "right_wrist": 10,
        "left_hip": 11,
        "right_hip": 12,
        "left_knee": 13,
        "right_knee": 14,
        "left_ankle": 15,
        "right_ankle": 16,
    },
    "body33": {
        "nose": 0,
        "left_eye_inner": 1,
        "left_eye": 2,
        "left_eye_outer": 3,
        "right_eye_inner": 4,
        "right_eye": 5,
        "right_eye_outer": 6,
        "left_ear": 7,
        "right_ear": 8,
        "mouth_left": 9,
        "mouth_right": 10,
        "left_shoulder": 11,
        "right_shoulder": 12,
        "left_elbow": 13,
        "right_elbow": 14,
        "left_wrist": 15,
        "right_wrist": 16,
        "left_little_finger": 17,
        "right_little_finger": 18,
        "left_index_finger": 19,
        "right_index_finger": 20,
        "left_thumb": 21,
        "right_thumb": 22,
        "left_hip": 23,
        "right_hip": 24,
        "left_knee": 25,
        "right_knee": 26,
        "left_ankle": 27,
        "right_ankle": 28,
        "left_heel": 29,
        "right_heel": 30,
        "left_toe": 31,
        "right_toe": 32,
    },
}
"""Name of each point and its index in a frame. `toe` is the tip of the big toe, about."""


def places(layout: Layout) -> tuple[int, ...]:
    """Return for every point of `POINTS` its index in a frame, -1 where the layout lacks it."""
    return tuple(TABLES[layout].get(name, -1) for name in POINTS)


def layout_words() -> str:
    """Return the index tables as a sentence for the contract, a layout at a time."""
    tables = (
        f"`{layout}`: " + ", ".join(f"{index} {name}" for name, index in table.items()) + "."
        for layout, table in sorted(TABLES.items())
    )
    return "Points by index: " + " ".join(tables)
