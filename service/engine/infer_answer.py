"""From sums to what each sighting and each measurement says: shares and log odds, rounded.

Apart from the sums because this is the same however they were carried out. Small terms are read
together: array operations on small tables cost by their number.
"""

import math
from collections.abc import Sequence

import numpy as np

from service.engine.infer_terms import Floats, Term
from service.model.network import Evidence, ParentPosterior, SightingPosterior

DIGITS = 9
_SCALE = 10.0**DIGITS

READ_TOGETHER = 28
"""Most products of terms that are read together: more would take memory, not save time."""

Kept = tuple[tuple[int, tuple[int, ...]], ...]
Rows = list[list[float]]


def rounded(values: Floats) -> Floats:
    """Return the values to 9 decimals, without a negative zero."""
    found: Floats = np.rint(values * _SCALE) / _SCALE + 0.0
    return found


def read_terms(
    evidence: Evidence,
    kept: Kept,
    terms: list[Term],
    pairs: Sequence[Floats | None],
    certain: frozenset[int],
) -> tuple[list[SightingPosterior], list[tuple[float, ...]]]:
    """Return what each kept sighting says, and the log odds that each shared ratio moved.

    `terms` are the sightings' (`kept` has their indices, and those of their trials), then the
    ratios'. `certain` are the bits that were told: nothing moves them. They are named because a
    sum that should be 0 may come out of elimination as a very small number.
    """
    read: dict[int, tuple[list[float], Rows]] = {}
    for group in _groups(terms, pairs):
        own = [terms[n] for n in group]
        moved, shares = _read(own, [pair for n in group if (pair := pairs[n]) is not None])
        start = 0
        for n, term in zip(group, own, strict=True):
            stop = start + len(term.bits)
            read[n] = shares[start:stop], _unmoved(moved[start:stop], term, certain)
            start = stop
    said = []
    for n, (i, trials) in enumerate(kept):
        pair = pairs[n]
        if pair is None:
            said.append(_without_parents(terms[n]))
            continue
        shares, moved = read[n]
        asked = len(evidence.sightings[i].trials)
        said.append(_one(terms[n], pair, shares, _by_trial(moved, trials, asked), asked))
    ratios = [tuple(row[0] for row in read[n][1]) for n in range(len(kept), len(terms))]
    return said, ratios


def _unmoved(moved: Rows, term: Term, certain: frozenset[int]) -> Rows:
    """Return the rows with those of certain bits set to 0."""
    if certain.isdisjoint(term.bits):
        return moved
    return [
        [0.0] * len(row) if bit in certain else row
        for bit, row in zip(term.bits, moved, strict=True)
    ]


def _groups(terms: list[Term], pairs: Sequence[Floats | None]) -> list[list[int]]:
    """Return the indices of terms that are read together, those without parents in none."""
    with_parents = [n for n in range(len(terms)) if pairs[n] is not None]
    small = [n for n in with_parents if terms[n].size <= READ_TOGETHER]
    alone = [[n] for n in with_parents if terms[n].size > READ_TOGETHER]
    return [small, *alone] if small else alone


def _read(terms: list[Term], pairs: list[Floats]) -> tuple[Rows, list[float]]:
    """Return by parent what moved it and its share, terms one after the other.

    Shorter terms are filled up with products of weight 0, and readings that mean nothing.
    """
    size = max(t.size for t in terms)
    readings = 2 + max(len(t.left_out) for t in terms)
    fill = [0.0] * size
    alone = [1.0, *fill[1:]]
    table = np.array(
        [
            [
                row + fill[len(row) :]
                for row in (
                    t.weights,
                    alone,
                    *t.left_out,
                    *(alone,) * (readings - 2 - len(t.left_out)),
                )
            ]
            for t in terms
        ]
    )
    count = sum(len(t.bits) for t in terms)
    cells = np.zeros((2, count, size))
    silent = np.zeros((count, size))
    start = 0
    for term, pair in zip(terms, pairs, strict=True):
        stop = start + len(term.bits)
        cells[:, start:stop, : term.size] = pair
        silent[start:stop, : term.size] = term.silent
        start = stop
    weights = table.repeat([len(t.bits) for t in terms], axis=0)
    sums = np.add.reduce(cells[:, :, None] * weights, axis=3)
    share = np.add.reduce(cells[1] * weights[:, 0] * silent, axis=1)
    share /= sums[0, :, 0] + sums[1, :, 0]
    shares: list[float] = rounded(np.minimum(np.maximum(share, 0.0), 1.0)).tolist()
    return _moved(sums), shares


def _moved(sums: Floats) -> Rows:
    """Return for each parent the log odds with all, minus those without the term or a trial.

    `sums` are (absent or present, parents, readings). Where a cause is certain, one way or the
    other, nothing moves it: 0.
    """
    certain = None
    if float(np.minimum.reduce(sums, axis=None)) <= 0.0:
        certain = np.minimum(sums[0, :, :1], sums[1, :, :1]) <= 0.0
        sums = np.where(np.minimum(sums[0], sums[1]) > 0.0, sums, 1.0)
    odds = sums[1] / sums[0]
    logs = np.array([[math.log(f) for f in row] for row in (odds[:, :1] / odds[:, 1:]).tolist()])
    found: Rows = rounded(logs if certain is None else np.where(certain, 0.0, logs)).tolist()
    return found


def _by_trial(moved: Rows, trials: tuple[int, ...], asked: int) -> Rows:
    """Return rows of (moved, by trial 0, 1, ...) in the screen's order, 0 where left out."""
    if not asked:
        return moved
    places = {t: 1 + k for k, t in enumerate(trials)}
    return [
        [row[0], *(row[places[t]] if t in places else 0.0 for t in range(asked))] for row in moved
    ]


def _one(
    term: Term, pair: Floats, shares: list[float], moved: Rows, asked: int
) -> SightingPosterior:
    """Return what one sighting says; every parent sees the same total, so its first will do."""
    outside = (pair[0, 0] + pair[1, 0]).tolist()
    total = silent = 0.0
    for weight, quiet, sum_k in zip(term.weights, term.leak_silent, outside, strict=True):
        total += weight * sum_k
        silent += quiet * sum_k
    return SightingPosterior(
        parents=tuple(
            ParentPosterior(share=share, moved=row[0], trial_moved=tuple(row[1 : 1 + asked]))
            for share, row in zip(shares, moved, strict=True)
        ),
        leak_share=_probability(1.0 - silent / total),
        leak_only=_probability(outside[-1] * term.leak_alone / total),
    )


def _probability(value: float) -> float:
    return round(min(1.0, max(0.0, value)), DIGITS)


def _without_parents(term: Term) -> SightingPosterior:
    """Return what a sighting without parents says: it rests on its leak."""
    total = sum(term.weights)
    return SightingPosterior(
        parents=(), leak_share=_probability(1.0 - sum(term.leak_silent) / total), leak_only=1.0
    )
