"""Lists of one number for each combination of some terms' products: multiplied, spread, summed.

Apart from the sums because here nothing is known of causes: the last of the terms varies fastest,
and a set of terms is the bits of one number.
"""

from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from mypy_extensions import i64

Weights: TypeAlias = list[float]


def outer(factors: list[Weights]) -> Weights:
    """Return the products of one number from each list; the last list varies fastest."""
    if not factors:
        return [1.0]
    found = factors[0]
    for own in factors[1:]:
        found = [value * factor for value in found for factor in own]
    return found


def times(some: Weights, others: Weights) -> Weights:
    """Return the products, one by one; an empty list stands for ones."""
    if not some:
        return others
    return [value * others[k] for k, value in enumerate(some)] if others else some


def spread(cells: Weights, mask: int, scope: list[int], sizes: list[int]) -> Weights:
    """Return what is by combination of some terms by combination of all in the scope."""
    inner = len(cells)
    for t in scope:
        size = sizes[t]
        if mask >> t & 1:
            inner //= size
            continue
        wider: Weights = []
        for at in range(0, len(cells), inner):
            wider += cells[at : at + inner] * size
        cells = wider
    return cells


def onto(
    cells: Weights, mask: int, scope: list[int], sizes: list[int], weights: list[Weights]
) -> Weights:
    """Return the sums over all terms in the scope but some, with the weights of those."""
    inner: i64 = 1
    for t in reversed(scope):
        size: i64 = sizes[t]
        if mask >> t & 1:
            inner *= size
            continue
        own = weights[t]
        summed: Weights = []
        count: i64 = len(cells)
        start: i64 = 0
        while start < count:
            for first in range(start, start + inner):
                value = 0.0
                at: i64 = first
                for weight in own:
                    value += cells[at] * weight
                    at += inner
                summed.append(value)
            start += size * inner
        cells = summed
    return cells
