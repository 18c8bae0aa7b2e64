"""Sums over one connected part at once: every combination of its terms' values in one table.

Apart from elimination because up to some hundred combinations a handful of wide array
operations is several times faster than many narrow ones; the sums are the same.
"""

import math

import numpy as np

from service.engine.infer_terms import Floats, Solved, Term, Weights


def solve_dense(terms: list[Term], weights: dict[int, Weights]) -> Solved:
    """Return the sums of a part; `weights` has the four state weights of each of its variables.

    Tables are (rows, combinations); rows are the left bits of all variables, then the right.
    """
    variables = list(weights)
    count = len(variables)
    place = {v: n for n, v in enumerate(variables)}
    rows = [[place[b >> 1] + count * (b & 1) for b in t.bits] for t in terms]
    both = _present_products(terms, rows, 2 * count)
    left, right = both[:count], both[count:]
    state = np.array(list(weights.values())).T[:, :, None]
    sided = np.empty((2, 2 * count, both.shape[1]))
    np.add(state[0], state[2] * right, out=sided[0, :count])
    np.add(state[0], state[1] * left, out=sided[0, count:])
    np.multiply(left, state[1] + state[3] * right, out=sided[1, :count])
    np.multiply(right, state[2] + state[3] * left, out=sided[1, count:])
    each = sided[0, :count] + sided[1, :count]
    product = np.multiply.reduce(each, axis=0)
    # INVARIANT: no cell of `each` is 0: factors are at least 0.02, and the 0 of a ratio's term
    # meets only variables that may also be absent
    others = product / each
    sided[:, :count] *= others
    sided[:, count:] *= others
    before, after = _weights_around([t.weight for t in terms])
    signed = product * before[-1]
    total = float(np.add.reduce(signed))
    size = float(np.add.reduce(np.abs(signed)))
    return Solved(
        pairs=tuple(
            _pair(sided.take(rows[j], axis=1), t.size, before[j], after[j])
            for j, t in enumerate(terms)
        ),
        states=dict(zip(variables, _states(state, others * before[-1], left, right), strict=True)),
        log_total=math.log(total) if total > 0 else -math.inf,
        condition=size / total if total > 0 else math.inf,
    )


def _states(state: Floats, others: Floats, left: Floats, right: Floats) -> list[Weights]:
    """Return by variable its four state weights; `others` holds everything but itself."""
    cells = np.empty((4, len(left)))
    np.add.reduce(others, axis=1, out=cells[0])
    np.add.reduce(others * left, axis=1, out=cells[1])
    others = others * right
    np.add.reduce(others, axis=1, out=cells[2])
    np.add.reduce(others * left, axis=1, out=cells[3])
    cells *= state[:, :, 0]
    found: list[Weights] = cells.T.tolist()
    return found


def _present_products(terms: list[Term], rows: list[list[int]], count: int) -> Floats:
    """Return for each row and combination the product of the factors of that bit, if present."""
    every = np.ones((count, sum(t.size for t in terms)))
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
    before = [np.ones(1)]
    after = [np.ones(1)]
    for weight in weights:
        before.append((before[-1][:, None] * weight).reshape(-1))
    for weight in reversed(weights):
        after.append((weight[:, None] * after[-1]).reshape(-1))
    return before, after[-2::-1]


def _pair(cells: Floats, size: int, before: Floats, after: Floats) -> Floats:
    """Return (2, bits, products): all but one term summed out with their weights."""
    found = cells.reshape(2, cells.shape[1], len(before), size, len(after))
    found = np.add.reduce(found * after, axis=4) if len(after) > 1 else found[..., 0]
    if len(before) == 1:
        return found[:, :, 0]
    summed: Floats = np.add.reduce(found * before[:, None], axis=2)
    return summed
