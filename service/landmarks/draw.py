"""Two pictures of a clip as SVG: the body at its lowest with the angle, and the angle over time.

Apart from measuring because nothing is decided here. Left is a full line, right a dashed one:
no meaning hangs on a colour.
"""

import math
from html import escape

import numpy as np

from service.landmarks.clean import Track
from service.landmarks.layouts import ANKLE, ELBOW, HEEL, HIP, KNEE, SHOULDER, TOE, WRIST
from service.landmarks.repeat import Repeats
from service.landmarks.smooth import Array, runs
from service.model.landmarks import Clip

_SIZE = 400.0
_MARGIN = 40.0
_WIDE, _HIGH = 600.0, 220.0
_BONES = ((SHOULDER, ELBOW), (ELBOW, WRIST), (HIP, KNEE), (KNEE, ANKLE), (HEEL, TOE))
_ACROSS = (SHOULDER, HIP)


def figure(clip: Clip, track: Track, repeats: Repeats, angles: Array, what: str) -> str:
    """Return the body at the bottom of the deepest repetition, the angle written at each knee.

    `angles` is (frames, 2), left then right; an angle that is not there is not written.
    """
    if not repeats.found:
        return ""
    bottom = max(repeats.found, key=lambda r: r.depth).bottom
    body = track.points[0, bottom]
    seen = body[np.isfinite(body).all(axis=1)]
    low, high = seen.min(axis=0), seen.max(axis=0)
    scale = (_SIZE - 2 * _MARGIN) / max(float((high - low).max()), 1e-9)
    place = np.stack([(body[:, 0] - low[0]), (high[1] - body[:, 1])], axis=1) * scale + _MARGIN
    parts = [
        _line(place[a], place[b], side)
        for first, second in _BONES
        for side, (a, b) in enumerate(zip(_indices(first), _indices(second), strict=True))
    ]
    parts += [_line(place[pair.start], place[pair.start + 1], 0) for pair in _ACROSS]
    parts += [_line(place[SHOULDER.start + n], place[HIP.start + n], n) for n in range(2)]
    for side in range(2):
        knee, angle = place[KNEE.start + side], float(angles[bottom, side])
        if np.isfinite(knee).all() and math.isfinite(angle):
            parts.append(f'<circle cx="{knee[0]:.1f}" cy="{knee[1]:.1f}" r="5" fill="none"/>')
            parts.append(_text(knee[0] + 8, knee[1] - 6, f"{angle:.0f}°"))
    title = f"The body at its lowest, with {what} at the knees"
    return _svg(_SIZE, _SIZE, title, parts)


def chart(track: Track, repeats: Repeats, angles: Array, what: str) -> str:
    """Return the angle (frames, 2) over time, the bottoms marked and repetitions underlined."""
    seen = angles[np.isfinite(angles)]
    if not repeats.found or not seen.size:
        return ""
    low, high = math.floor(float(seen.min()) / 10) * 10, math.ceil(float(seen.max()) / 10) * 10
    high = max(high, low + 10)
    frames = len(angles)
    x = _MARGIN + (_WIDE - 2 * _MARGIN) * np.arange(frames) / (frames - 1)
    y = _HIGH - _MARGIN - (_HIGH - 2 * _MARGIN) * (angles - low) / (high - low)
    floor = _HIGH - _MARGIN
    parts = [
        f'<path d="M{_MARGIN:g} {_MARGIN:g}V{floor:g}H{_WIDE - _MARGIN:g}" fill="none"/>',
        _text(4, _MARGIN + 4, f"{high:.0f}°"),
        _text(4, floor, f"{low:.0f}°"),
        _text(_WIDE - _MARGIN - 20, floor + 28, f"{(frames - 1) / track.fps:.1f} s"),
        _text(_MARGIN, 20, f"{what}: left full, right dashed"),
    ]
    for n, one in enumerate(repeats.found):
        parts.append(
            f'<path d="M{x[one.start]:.1f} {floor + 6:g}H{x[one.end]:.1f}" stroke-width="4"/>'
        )
        parts.append(
            f'<path d="M{x[one.bottom]:.1f} {_MARGIN:g}V{floor:g}" stroke-dasharray="2 4"/>'
        )
        parts.append(_text(x[one.bottom] - 3, floor + 24, str(n + 1)))
    thin = max(1, frames // 300)
    for side in range(2):
        dashes = ' stroke-dasharray="7 5"' if side else ""
        for start, end in runs(np.isfinite(y[:, side])):
            points = " ".join(f"{x[n]:.1f},{y[n, side]:.1f}" for n in range(start, end, thin))
            parts.append(f'<polyline points="{points}" fill="none"{dashes}/>')
    return _svg(_WIDE, _HIGH, f"{what} over time, repetitions marked", parts)


def _indices(pair: slice) -> tuple[int, int]:
    return pair.start, pair.start + 1


def _line(a: Array, b: Array, side: int) -> str:
    if not (np.isfinite(a).all() and np.isfinite(b).all()):
        return ""
    dashes = ' stroke-dasharray="7 5"' if side else ""
    return f'<path d="M{a[0]:.1f} {a[1]:.1f}L{b[0]:.1f} {b[1]:.1f}"{dashes}/>'


def _text(x: float, y: float, words: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" stroke="none" fill="black">{escape(words)}</text>'


def _svg(wide: float, high: float, title: str, parts: list[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" role="img" '
        'stroke="black" stroke-width="2" font-family="sans-serif" font-size="13">'
        f'<title>{escape(title)}</title><rect width="100%" height="100%" fill="white" '
        f'stroke="none"/>{"".join(parts)}</svg>'
    )
