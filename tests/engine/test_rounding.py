"""Rounding gives what the built-in gives, to the last bit."""

import math
import random
import struct

import pytest

from service.engine.rounding import rounded, whole


@pytest.mark.parametrize("digits", [3, 6, 9])
def test_rounding_is_that_of_the_built_in(digits: int) -> None:
    rng = random.Random(digits)
    unit = 10**-digits
    values = [0.0, -0.0, 1.0, -1e-12, 4e3, 1e300, 5e-324, math.inf, -math.inf]
    for _ in range(20_000):
        near = 1 + rng.randrange(-3, 4) * 2**-52
        values.append(rng.uniform(-1, 1) * 10 ** rng.uniform(-12, 7))
        values.append(rng.randrange(-(10**digits), 10**digits) * unit * near)
        values.append((rng.randrange(-(10**digits), 10**digits) + 0.5) * unit * near)
    for value in values:
        # the bits, because zero has two signs
        assert struct.pack("d", rounded(value, digits)) == struct.pack("d", round(value, digits))
    assert math.isnan(rounded(math.nan, digits))


def test_whole_numbers_too() -> None:
    rng = random.Random(21)
    for _ in range(20_000):
        value = rng.choice((rng.randrange(10**9) + 0.5, rng.uniform(-1e10, 1e10)))
        for near in (value, math.nextafter(value, 0.0), math.nextafter(value, math.inf)):
            assert whole(near) == round(near), near
    assert [whole(n + 0.5) for n in range(-2, 4)] == [-2, 0, 0, 2, 2, 4]
