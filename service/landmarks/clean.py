"""From the frames of a request to tracks of body points, with a name for whatever was wrong.

Apart from measuring so that no bad number, foreign body or upside-down picture reaches an angle.
"""

import math
from collections.abc import Mapping

import numpy as np
from msgspec import Struct

from service.landmarks.layouts import ANKLE, HIP, POINTS, SHOULDER, SIZES, places
from service.landmarks.smooth import (
    Array,
    Mask,
    fill_short_gaps,
    kernel,
    middle,
    noise_gains,
    smooth,
    upper,
)
from service.model.landmarks import Clip

Told = tuple[str, str, tuple[tuple[str, str], ...]]
"""A warning: code, pointer, values."""
Numbers = Mapping[str, float]

_TRUNKS_IN_A_LEG = 1.6
"""Leg over trunk in length, only to scale a clip that shows no ankle."""


class Track(Struct, frozen=True, kw_only=True):
    """Points over time, x to the right and y upwards, in pixels.

    `points` is (2, frames, points, 2): first smoothed, then as read with short gaps filled.
    `confidence` is the mean of each point where it is seen. `leg` is the length of a leg. `gain`
    and `left` are the noise that smoothing keeps and what it leaves in the residual.
    """

    points: Array
    confidence: Array
    fps: float
    leg: float
    gain: float
    left: float


def clean(clip: Clip, numbers: Numbers) -> tuple[Track | None, tuple[Told, ...]]:
    """Return the track, None where nothing can be measured, and what was wrong."""
    told: list[Told] = []
    read = _array(clip, numbers, told)
    if read is None:
        return None, tuple(told)
    raw, confidence = _usable(read, clip, numbers, told)
    if not np.isfinite(raw[:, HIP]).any():
        told.append(("all_missing", "/frames", ()))
        return None, tuple(told)
    leg = _leg(raw)
    if not leg > 0:
        told.append(("no_body", "/frames", ()))
        return None, tuple(told)
    raw = _one_person(raw, leg, clip, numbers, told)
    if not _upright(raw, clip, told) or not _enough(raw, numbers, told):
        return None, tuple(told)
    flat = raw.reshape(len(raw), -1)
    flat = fill_short_gaps(flat, int(numbers["gap_s"] * clip.fps + 1e-6))
    weights = kernel(clip.fps, numbers["corner_hz"])
    gain, left = noise_gains(weights)
    both = np.stack([smooth(flat, weights), flat]).reshape(2, *raw.shape)
    leg = _leg(both[0])
    if not leg > 0:
        # all that was a body has been left out
        told.append(("no_body", "/frames", ()))
        return None, tuple(told)
    return Track(
        points=both, confidence=confidence, fps=clip.fps, leg=leg, gain=gain, left=left
    ), tuple(told)


def _array(clip: Clip, numbers: Numbers, told: list[Told]) -> Array | None:
    """Return frames x points x (x, y, confidence), NaN where a frame has another length."""
    if clip.coordinates == "normalised" and clip.image is None:
        told.append(("image_missing", "/image", ()))
        return None
    frames = clip.frames[: int(numbers["longest_s"] * clip.fps)]
    if len(frames) < len(clip.frames):
        told.append(("clip_cut", "/frames", (("seconds", f"{numbers['longest_s']:g}"),)))
    if len(frames) < 2:
        told.append(("one_frame" if frames else "no_frames", "/frames", ()))
        return None
    if clip.fps < numbers["fewest_fps"]:
        told.append(("few_frames", "/fps", (("fewest", f"{numbers['fewest_fps']:g}"),)))
    size = SIZES[clip.layout]
    odd = [n for n, frame in enumerate(frames) if len(frame) != size]
    if odd:
        values = (("count", str(len(odd))), ("size", str(size)))
        told.append(("frame_length", f"/frames/{odd[0]}", values))
        blank = ((None, None, None),) * size
        frames = tuple(frame if len(frame) == size else blank for frame in frames)
    read = np.array(frames, dtype=np.float64)
    lost = ~np.isfinite(read).all(axis=2)
    read[lost] = np.nan
    count = int(lost.sum()) - len(odd) * size
    if count:
        told.append(("not_a_number", "/frames", (("count", str(count)),)))
    return read


def _usable(read: Array, clip: Clip, numbers: Numbers, told: list[Told]) -> tuple[Array, Array]:
    """Return places (frames x points x 2) with NaN for what is not to be used, and confidence."""
    where = np.array(places(clip.layout))
    taken = read[:, np.maximum(where, 0)]
    taken[:, where < 0] = np.nan
    spot, sure = taken[..., :2].copy(), taken[..., 2]
    _odd_confidence(sure, told)
    if clip.image is not None:
        size = np.array([clip.image.width, clip.image.height], dtype=np.float64)
        if clip.coordinates == "normalised":
            spot *= size
        with np.errstate(invalid="ignore"):
            outside = ((spot < 0) | (spot > size)).any(axis=2) & (sure >= 0)
        if outside.any():
            count = int(outside.any(axis=1).sum())
            told.append(("out_of_picture", "/frames", (("count", str(count)),)))
            spot[outside] = np.nan
    with np.errstate(invalid="ignore"):
        spot[~(sure >= numbers["confidence_floor"])] = np.nan
    spot[..., 1] *= -1.0
    if clip.mirrored:
        spot[..., 0] *= -1.0
        swap = np.arange(len(POINTS)) ^ 1
        spot, sure = spot[:, swap], sure[:, swap]
    seen = np.isfinite(spot).all(axis=2)
    spot[~seen] = np.nan
    count = np.maximum(seen.sum(axis=0), 1)
    return spot, np.where(seen, np.clip(sure, 0.0, 1.0), 0.0).sum(axis=0) / count


def _odd_confidence(sure: Array, told: list[Told]) -> None:
    with np.errstate(invalid="ignore"):
        below, above = int((sure < 0).sum()), int((sure > 1).sum())
    if below:
        told.append(("confidence_negative", "/frames", (("count", str(below)),)))
    if above:
        told.append(("confidence_above_one", "/frames", (("count", str(above)),)))


def _leg(raw: Array) -> float:
    """Return the length of a leg in pixels: hip to ankle when it is straightest."""
    long = upper(np.hypot(*np.moveaxis(raw[:, HIP] - raw[:, ANKLE], 2, 0)).ravel(), 0.95)
    if math.isfinite(long) and long > 0:
        return long
    trunk = upper(np.hypot(*np.moveaxis(raw[:, SHOULDER] - raw[:, HIP], 2, 0)).ravel(), 0.95)
    return trunk * _TRUNKS_IN_A_LEG


def _one_person(raw: Array, leg: float, clip: Clip, numbers: Numbers, told: list[Told]) -> Array:
    """Return the places of one person: the longest stretch between jumps, labels in order."""
    reach = numbers["jump_legs"] * leg
    hips = either(raw[:, HIP])
    seen = np.flatnonzero(np.isfinite(hips).all(axis=1))
    steps = np.hypot(*np.diff(hips[seen], axis=0).T)
    close = np.diff(seen) <= max(1, int(numbers["gap_s"] * clip.fps))
    piece = np.concatenate([[0], np.cumsum((steps > reach) & close)])
    keep = int(np.argmax(np.bincount(piece.astype(np.int64))))
    drop = np.zeros(len(raw), dtype=np.bool_)
    drop[seen[piece != keep]] = True
    if clip.view != "side":
        drop |= _swapped(raw)
    out = raw.copy()
    out[drop] = np.nan
    # a point that leaps away for one frame and returns is a misread of that frame
    leap = np.zeros(raw.shape[:2], dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        move = np.hypot(*np.moveaxis(np.diff(out, axis=0), 2, 0)) > reach
        back = np.hypot(*np.moveaxis(out[2:] - out[:-2], 2, 0)) < reach
    leap[1:-1] = move[:-1] & move[1:] & back
    out[leap] = np.nan
    count = int((drop | leap.any(axis=1)).sum())
    if count:
        told.append(("jumps", "/frames", (("count", str(count)),)))
    return out


def either(pair: Array) -> Array:
    """Return the middle of a pair of points (..., 2, 2), or the one that is there."""
    left, right = pair[..., 0, :], pair[..., 1, :]
    both = (left + right) / 2
    return np.where(np.isfinite(both), both, np.where(np.isfinite(left), left, right))


def _swapped(raw: Array) -> Mask:
    """Return the frames in which left and right of hips or shoulders have changed places."""
    swapped = np.zeros(len(raw), dtype=np.bool_)
    for pair in (HIP, SHOULDER):
        wide = raw[:, pair][:, 0, 0] - raw[:, pair][:, 1, 0]
        usual = middle(wide)
        with np.errstate(invalid="ignore"):
            swapped |= wide * usual < -0.25 * usual * usual
    return swapped


def _upright(raw: Array, clip: Clip, told: list[Told]) -> bool:
    """Return whether the body stands the right way up in the picture, when it is tallest."""
    if clip.movement == "push_up":
        return True
    up = either(raw[:, SHOULDER]) - either(raw[:, HIP])
    rise = middle(up[:, 1])
    if rise < 0:
        # a deep hinge may bring the shoulders under the hips for a while, not for most of a clip
        told.append(("upside_down", "/frames", ()))
        return False
    if upper(up[:, 1], 0.9) < upper(np.abs(up[:, 0]), 0.5):
        told.append(("on_its_side", "/frames", ()))
        return False
    return True


def _enough(raw: Array, numbers: Numbers, told: list[Told]) -> bool:
    """Return whether hips are seen in enough frames to follow them."""
    seen = float(np.isfinite(raw[:, HIP, 0]).any(axis=1).mean())
    if seen < numbers["least_seen"]:
        told.append(("person_lost", "/frames", (("percent", f"{100 * seen:.0f}"),)))
    return seen > 0
