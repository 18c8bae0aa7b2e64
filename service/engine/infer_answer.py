"""From sums to what each sighting and each measurement says: shares and log odds, rounded.

Apart from the sums because this is the same however they were carried out.
"""

from collections.abc import Sequence
from math import log

import numpy as np

from service.engine.infer_terms import Floats, Term
from service.model.network import Evidence, ParentPosterior, SightingPosterior

DIGITS = 9
SCALE = 10.0**DIGITS

Kept = tuple[tuple[int, tuple[int, ...]], ...]
Rows = list[list[float]]


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
    said = []
    for (i, trials), term, pair in zip(kept, terms, pairs, strict=False):
        if pair is None:
            said.append(_without_parents(term))
            continue
        moved, shares = _read(term, pair, certain)
        asked = len(evidence.sightings[i].trials)
        said.append(_one(term, pair, shares, _by_trial(moved, trials, asked)))
    ratios = []
    for term, pair in zip(terms[len(kept) :], pairs[len(kept) :], strict=True):
        assert pair is not None
        ratios.append(tuple([row[0] for row in _read(term, pair, certain)[0]]))
    return said, ratios


def _read(term: Term, pair: Floats, certain: frozenset[int]) -> tuple[Rows, list[float]]:
    """Return by parent what moved it (by reading but the first) and its share."""
    weighed = pair[:, :, None] * term.readings
    absent, present = np.add.reduce(weighed, axis=3).tolist()
    fired = np.add.reduce(weighed[1, :, 0] * term.silent, axis=1).tolist()
    moved = []
    shares = []
    for bit, without, having, own in zip(term.bits, absent, present, fired, strict=True):
        gone, there = without[0], having[0]
        shares.append(_probability(own / (gone + there)))
        if gone <= 0.0 or there <= 0.0 or bit in certain:
            moved.append([0.0] * (len(having) - 1))
            continue
        odds = there / gone
        moved.append(
            [
                round(log(odds / (p / a if a > 0.0 and p > 0.0 else 1.0)) * SCALE) / SCALE
                for a, p in zip(without[1:], having[1:], strict=True)
            ]
        )
    return moved, shares


def _by_trial(moved: Rows, trials: tuple[int, ...], asked: int) -> Rows:
    """Return rows of (moved, by trial 0, 1, ...) in the screen's order, 0 where left out."""
    if trials == tuple(range(asked)):
        return moved
    places = {t: 1 + k for k, t in enumerate(trials)}
    return [
        [row[0], *(row[places[t]] if t in places else 0.0 for t in range(asked))] for row in moved
    ]


def _one(term: Term, pair: Floats, shares: list[float], moved: Rows) -> SightingPosterior:
    """Return what one sighting says; every parent sees the same total, so its first will do."""
    outside = (pair[0, 0] + pair[1, 0]).tolist()
    total = silent = 0.0
    for weight, quiet, sum_k in zip(term.weights, term.leak_silent, outside, strict=True):
        total += weight * sum_k
        silent += quiet * sum_k
    return SightingPosterior(
        parents=tuple(
            [
                ParentPosterior(share=share, moved=row[0], trial_moved=tuple(row[1:]))
                for share, row in zip(shares, moved, strict=True)
            ]
        ),
        leak_share=_probability(1.0 - silent / total),
        leak_only=_probability(outside[-1] * term.leak_alone / total),
    )


def _probability(value: float) -> float:
    if value <= 0.0:
        return 0.0
    return 1.0 if value >= 1.0 else round(value * SCALE) / SCALE


def _without_parents(term: Term) -> SightingPosterior:
    """Return what a sighting without parents says: it rests on its leak."""
    total = sum(term.weights)
    return SightingPosterior(
        parents=(), leak_share=_probability(1.0 - sum(term.leak_silent) / total), leak_only=1.0
    )
