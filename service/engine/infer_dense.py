"""Sums over one connected part at once: every combination of its terms' values in one table.

Apart from elimination because up to some hundred combinations a handful of wide array
operations is several times faster than many narrow ones; the sums are the same.
"""

import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.engine.infer_terms import Floats, Solved, Term, Weights

Rows: TypeAlias = NDArray[np.intp]

_ONE = np.ones(1)


def solve_dense(terms: list[Term], weights: dict[int, Weights]) -> Solved:
    """Return the sums of a part; `weights` has the four state weights of each of its variables.

    Tables are (rows, combinations); rows are the left bits of all variables, then the right.
    """
    variables = list(weights)
    count = len(variables)
    place = {v: n for n, v in enumerate(variables)}
    rows = [np.array([place[b >> 1] + count * (b & 1) for b in t.bits]) for t in terms]
    both = _present_products(terms, rows, 2 * count).reshape(2, count, -1)
    state = np.array(list(weights.values())).T[:, :, None]
    one_side = state[1:3]
    sided = np.empty((2, *both.shape))
    # a side may be absent with the other side there, and present with or without it
    np.add(state[0], one_side * both, out=sided[0, ::-1])
    np.multiply(both, one_side + state[3] * both[::-1], out=sided[1])
    each = sided[0, 0] + sided[1, 0]
    product = np.multiply.reduce(each, axis=0)
    # INVARIANT: no cell of `each` is 0: factors are at least 0.02, and the 0 of a ratio's term
    # meets only variables that may also be absent
    others = product / each
    sided *= others
    before, after = _weights_around([t.weight for t in terms])
    signed = product * before[-1]
    total = float(np.add.reduce(signed))
    size = float(np.add.reduce(np.abs(signed)))
    by_row = sided.reshape(2, 2 * count, -1)
    pairs = [
        _pair(by_row.take(own, axis=1), t.size, first, last)
        for t, own, first, last in zip(terms, rows, before, after, strict=False)
    ]
    return Solved(
        pairs=tuple(pairs),
        states=dict(zip(variables, _states(state, others * before[-1], both), strict=True)),
        log_total=math.log(total) if total > 0 else -math.inf,
        condition=size / total if total > 0 else math.inf,
    )


def _states(state: Floats, others: Floats, both: Floats) -> list[Weights]:
    """Return by variable its four state weights; `others` holds everything but itself."""
    left, right = both
    cells = np.empty((4, *others.shape))
    cells[0] = others
    np.multiply(others, right, out=cells[2])
    np.multiply(cells[::2], left, out=cells[1::2])
    found: list[Weights] = (np.add.reduce(cells, axis=2) * state[:, :, 0]).T.tolist()
    return found


def _present_products(terms: list[Term], rows: list[Rows], count: int) -> Floats:
    """Return for each row and combination the product of the factors of that bit, if present."""
    every = np.ones((count, sum([t.size for t in terms])))
    product: Floats | None = None
    start = 0
    for own, term in zip(rows, terms, strict=True):
        wide = every[:, start : start + term.size]
        start += term.size
        wide[own] = term.factor
        if product is None:
            product = wide
        else:
            product = (product[:, :, None] * wide[:, None, :]).reshape(count, -1)
    assert product is not None
    return product


def _weights_around(weights: list[Floats]) -> tuple[list[Floats], list[Floats]]:
    """Return the outer products of the weights before each term (and of all), and after each."""
    before = [_ONE, weights[0]]
    for weight in weights[1:]:
        before.append((before[-1][:, None] * weight).reshape(-1))
    after = [_ONE, weights[-1]]
    for weight in weights[-2:0:-1]:
        after.append((weight[:, None] * after[-1]).reshape(-1))
    return before, after[len(weights) - 1 :: -1]


def _pair(cells: Floats, size: int, before: Floats, after: Floats) -> Floats:
    """Return (2, bits, products): all but one term summed out with their weights."""
    rows = cells.shape[1]
    if len(after) > 1:
        cells = np.add.reduce(cells.reshape(2, rows, -1, len(after)) * after, axis=3)
    if len(before) == 1:
        return cells
    found = cells.reshape(2, rows, len(before), size)
    summed: Floats = np.add.reduce(found * before[:, None], axis=2)
    return summed
