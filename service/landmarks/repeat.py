"""Repetitions of a movement, found from the height of the hips or hands, and whose leg they are.

Apart from measuring because every measure is taken at the bottom that is found here.
"""

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from service.landmarks.clean import Numbers, Told, Track, either
from service.landmarks.layouts import ANKLE, HIP, SHOULDER, WRIST
from service.landmarks.smooth import Array, middle, runs, upper
from service.model.landmarks import Clip
from service.model.quantities import MovementId, Side

ONE_LEG: frozenset[MovementId] = frozenset(
    ("single_leg_squat", "single_leg_stance", "split_squat", "step_down")
)
_FOLLOWS: Mapping[MovementId, tuple[slice, float]] = {
    "hinge": (SHOULDER, 1.0),
    "overhead_press": (WRIST, -1.0),
    "overhead_reach": (WRIST, -1.0),
    "push_up": (SHOULDER, 1.0),
    "row": (WRIST, -1.0),
}
"""Which height tells repetitions, and whether they begin by going down; hips where not named."""
_NEAR_BOTTOM = 0.03
"""Part of the way up that still counts as the bottom: there the body hardly moves."""
_CLEARLY_LESS = 0.5
"""A foot that stands moves less than half as much as the one that is lifted."""


Frames = npt.NDArray[np.intp]


class Repeat(Struct, frozen=True, kw_only=True):
    """One repetition in frames, `end` included; `low` are the frames of its bottom."""

    side: Side
    start: int
    bottom: int
    end: int
    low: Frames
    depth: float


class Repeats(Struct, frozen=True, kw_only=True):
    """The repetitions, the height they were found by, and the frames of standing at ease."""

    found: tuple[Repeat, ...]
    height: Array
    standing: Frames


def find_repeats(
    clip: Clip, track: Track, facing: float, numbers: Numbers
) -> tuple[Repeats, tuple[Told, ...]]:
    """Return the whole repetitions in order; `facing` is +1 for a client who faces right."""
    told: list[Told] = []
    if clip.movement == "single_leg_stance":
        return _hold(clip, track, numbers, told), tuple(told)
    pair, sign = _FOLLOWS.get(clip.movement, (HIP, 1.0))
    height = sign * either(track.points[0][:, pair])[:, 1]
    top, bottom = upper(height, 0.95), upper(height, 0.02)
    reach = top - bottom
    none = np.zeros(0, dtype=np.intp)
    if not reach >= numbers["least_depth"] * track.leg:
        told.append(("static_clip", "/frames", ()))
        return Repeats(found=(), height=height, standing=none), tuple(told)
    with np.errstate(invalid="ignore"):
        standing = np.flatnonzero(height >= top - numbers["edge_part"] * reach)
    found: list[Repeat] = []
    for start, end in _cycles(height, top, reach, numbers):
        part = height[start : end + 1]
        if not np.isfinite(part).all():
            told.append(("gap_in_repetition", f"/frames/{start}", ()))
            continue
        low = start + np.flatnonzero(part <= part.min() + _NEAR_BOTTOM * reach)
        found.append(
            Repeat(
                side=_leg_of(clip, track, start, end, facing),
                start=start,
                # the least height of a long bottom is a matter of noise
                bottom=int(low[0] + low[-1]) // 2,
                end=end,
                low=low,
                depth=float(100 * (top - part.min()) / track.leg),
            )
        )
    if not found:
        told.append(("no_repetition", "/frames", ()))
    if clip.movement in ONE_LEG and any(r.side == "none" for r in found):
        told.append(("standing_leg_unclear", "/side", ()))
    return Repeats(found=tuple(found), height=height, standing=standing), tuple(told)


def _cycles(height: Array, top: float, reach: float, numbers: Numbers) -> list[tuple[int, int]]:
    """Return (start, end) of every way down and up again, both ends near the top.

    Hysteresis: a repetition counts once the height fell by `descend_part` of the whole way and
    came back above `return_part`; what lies between changes nothing.
    """
    with np.errstate(invalid="ignore"):
        high = height >= top - numbers["return_part"] * reach
        deep = height <= top - numbers["descend_part"] * reach
        at_ease = np.flatnonzero(height >= top - numbers["edge_part"] * reach)
    marks = np.flatnonzero(high | deep)
    changes = np.flatnonzero(np.diff(deep[marks].astype(np.int8)))
    found: list[tuple[int, int]] = []
    for down, up in pairwise(changes):
        if deep[marks[down]]:
            continue
        first, last = int(marks[down]), int(marks[up + 1])
        # the edges of the movement lie nearer the top than the hysteresis does
        before = at_ease[(at_ease <= first) & (at_ease > (found[-1][1] - 1 if found else -1))]
        after = at_ease[at_ease >= last]
        next_down = marks[up + 1 :][deep[marks[up + 1 :]]]
        if next_down.size:
            after = after[after < next_down[0]]
        start = int(before[-1]) if before.size else first
        end = int(after[0]) if after.size else last
        found.append((start, end))
    return found


def _leg_of(clip: Clip, track: Track, start: int, end: int, facing: float) -> Side:
    """Return the standing or front leg of a repetition, `none` where it cannot be told."""
    if clip.movement not in ONE_LEG:
        return "none"
    if clip.side != "none":
        return clip.side
    ankles = track.points[0][start : end + 1, ANKLE]
    if not np.isfinite(ankles).any(axis=(0, 2)).all():
        return "none"
    if clip.movement == "split_squat":
        return _front_leg(clip, ankles, facing)
    ranges = [upper(ankles[:, n, 1], 0.9) - upper(ankles[:, n, 1], 0.1) for n in range(2)]
    if ranges[0] < _CLEARLY_LESS * ranges[1]:
        return "left"
    return "right" if ranges[1] < _CLEARLY_LESS * ranges[0] else "none"


def _front_leg(clip: Clip, ankles: Array, facing: float) -> Side:
    """Return the leg in front: from the side by where the client faces, from the front the lower.

    The rear heel is up and the front foot is nearer, so its ankle is lower in the picture; from
    behind these two speak against each other.
    """
    if clip.view == "back":
        return "none"
    axis, sign = (0, facing) if clip.view == "side" else (1, -1.0)
    lead = sign * (middle(ankles[:, 0, axis]) - middle(ankles[:, 1, axis]))
    if lead == 0:
        return "none"
    return "left" if lead > 0 else "right"


def _hold(clip: Clip, track: Track, numbers: Numbers, told: list[Told]) -> Repeats:
    """Return the longest stretch on one leg as one repetition without depth."""
    ankles = track.points[0][:, ANKLE, 1]
    lead = ankles[:, 0] - ankles[:, 1]
    best: tuple[int, int, Side] = (0, 0, "none")
    sides: tuple[tuple[Side, float], ...] = (("left", -1.0), ("right", 1.0))
    for side, sign in sides:
        if clip.side not in ("none", side):
            continue
        with np.errstate(invalid="ignore"):
            stands = sign * lead > numbers["least_depth"] * track.leg
        for start, end in runs(stands):
            if end - start > best[1] - best[0]:
                best = (start, end, side)
    height = lead
    start, end, side = best
    if end - start < 2:
        told.append(("no_repetition", "/frames", ()))
        return Repeats(found=(), height=height, standing=np.zeros(0, dtype=np.intp))
    whole = Repeat(
        side=side,
        start=start,
        bottom=(start + end - 1) // 2,
        end=end - 1,
        low=np.arange(start, end, dtype=np.intp),
        depth=0.0,
    )
    return Repeats(found=(whole,), height=height, standing=np.zeros(0, dtype=np.intp))
