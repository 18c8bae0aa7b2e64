"""Rounding as the built-in does it, to the last bit, without writing the digits out.

Apart from its users because every room rounds what it hands on, and because it has to be proven.
"""

import math
from typing import Final

MOST: Final = 4e9
"""Scaled sizes from which the built-in has to look."""
NEAR: Final = 1e-6
"""A part of a unit; scaling moves a number of less than `MOST` by a quarter of it at most."""


def rounded(value: float, digits: int) -> float:
    """Return `round(value, digits)` for 3, 6 or 9 digits.

    A whole number divided by a power of ten is the double that is nearest to the decimal, which is
    what the built-in reads back; only what lies next to a half has to be looked at digit by digit.
    """
    scale = 1e6 if digits == 6 else 1e9 if digits == 9 else 1e3
    size = abs(value) * scale
    if size < MOST:
        whole = float(int(size))
        rest = size - whole
        if rest < 0.5 - NEAR:
            return math.copysign(whole / scale, value)
        if rest > 0.5 + NEAR:
            return math.copysign((whole + 1.0) / scale, value)
    return round(value, digits)


def whole(value: float) -> int:
    """Return `round(value)`."""
    if 0.0 <= value < MOST:
        near = int(value + 0.5)
        if abs(value - near) < 0.5 - NEAR:
            return near
    return round(value)
