"""Short gaps filled and noise taken out, without delay: a low-pass filter run both ways.

Apart from cleaning because this is plain signal processing and knows nothing of bodies.

The filter is the Butterworth low-pass of second order, once forwards and once backwards, its
corner corrected so that the two passes together stand at -3 dB there (Winter, Biomechanics and
Motor Control of Human Movement, chapter 3). Both passes together are one symmetric kernel, the
autocorrelation of the single pass's impulse response; it is made once per frame rate.
"""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

_BOTH_WAYS = (math.sqrt(2.0) - 1.0) ** 0.25
"""Corner of one pass over the corner of two, for second order."""
_TAIL = 1e-5
"""Part of the kernel's peak below which its tail is cut."""


@lru_cache(maxsize=64)
def kernel(fps: float, corner_hz: float) -> tuple[float, ...]:
    """Return the symmetric kernel, summing to 1; a single 1 where the corner is out of reach."""
    if corner_hz >= 0.45 * fps:
        return (1.0,)
    warped = math.tan(math.pi * corner_hz / fps) / _BOTH_WAYS
    scale = 1.0 + math.sqrt(2.0) * warped + warped * warped
    b0 = warped * warped / scale
    a1 = 2.0 * (warped * warped - 1.0) / scale
    a2 = (1.0 - math.sqrt(2.0) * warped + warped * warped) / scale
    response: list[float] = []
    y1 = y2 = 0.0
    for n in range(int(8 * fps / corner_hz) + 8):
        driven = b0 * (1.0, 2.0, 1.0)[n] if n < 3 else 0.0
        y = driven - a1 * y1 - a2 * y2
        response.append(y)
        y1, y2 = y, y1
    both = np.correlate(np.array(response), np.array(response), "full")
    centre = len(response) - 1
    keep = int(np.max(np.flatnonzero(np.abs(both[centre:]) > _TAIL * both[centre])))
    half = both[centre - keep : centre + keep + 1]
    return tuple(float(h) for h in half / half.sum())


def noise_gains(weights: tuple[float, ...]) -> tuple[float, float]:
    """Return by what a kernel scales white noise, and what it leaves of it in the residual."""
    kept = math.fsum(h * h for h in weights)
    middle = weights[len(weights) // 2]
    return math.sqrt(kept), math.sqrt(max(0.0, 1.0 - 2.0 * middle + kept))


def smooth(series: Array, weights: tuple[float, ...]) -> Array:
    """Return series (frames x columns) filtered; missing frames part it and stay missing."""
    whole = np.isfinite(series).all(axis=0)
    out = np.full_like(series, np.nan)
    if whole.any():
        out[:, whole] = _filtered(series[:, whole], weights)
    for column in np.flatnonzero(~whole):
        for start, end in runs(np.isfinite(series[:, column])):
            out[start:end, column] = _filtered(series[start:end, column, None], weights)[:, 0]
    return out


def _filtered(block: Array, weights: tuple[float, ...]) -> Array:
    """Return a block without gaps filtered, its ends continued by turning it about them."""
    reach = len(weights) // 2
    count = block.shape[0]
    if reach == 0 or count < 3:
        return block.copy()
    padded = np.pad(block, ((reach, reach), (0, 0)), mode="reflect", reflect_type="odd")
    out = weights[reach] * block
    for n in range(reach):
        out += weights[n] * (padded[n : n + count] + padded[2 * reach - n :][:count])
    return out


def fill_short_gaps(series: Array, longest: int) -> Array:
    """Return series (frames x columns) with gaps of at most `longest` frames drawn straight.

    Gaps at either end stay, for there is nothing to draw towards.
    """
    out = series.copy()
    for column in np.flatnonzero(~np.isfinite(series).all(axis=0)):
        seen = np.isfinite(series[:, column])
        places = np.flatnonzero(seen)
        if not places.size:
            continue
        gap = np.flatnonzero(~seen)
        out[gap, column] = np.interp(gap, places, series[places, column])
        out[: places[0], column] = out[places[-1] + 1 :, column] = np.nan
        for before in np.flatnonzero(np.diff(places) > longest + 1):
            out[places[before] + 1 : places[before + 1], column] = np.nan
    return out


def runs(mask: Mask) -> list[tuple[int, int]]:
    """Return (start, end) of every stretch of true, end not included, in order."""
    edges = np.flatnonzero(np.diff(mask.astype(np.int8), prepend=0, append=0))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def middle(values: Array) -> float:
    """Return the median of what is there, NaN if nothing is."""
    seen = values[np.isfinite(values)]
    return float(np.median(seen)) if seen.size else math.nan


def upper(values: Array, part: float) -> float:
    """Return the value below which `part` of what is there lies, NaN if nothing is there."""
    seen = np.sort(values[np.isfinite(values)])
    if not seen.size:
        return math.nan
    at = part * (seen.size - 1)
    low = math.floor(at)
    high = min(low + 1, seen.size - 1)
    return float(seen[low] + (at - low) * (seen[high] - seen[low]))
