"""From sums to what each sighting and each measurement says: shares and log odds, rounded.

Apart from the sums because this is the same however they were carried out.
"""

from math import log
from typing import Final

from service.engine.infer_cells import Weights
from service.engine.infer_terms import Pair, Term
from service.model.network import Evidence, ParentPosterior, SightingPosterior

DIGITS = 9
SCALE: Final = 1e9
_WHOLE: Final = 6755399441055744.0
"""1.5 * 2^52: added and taken away it leaves a whole number, ties to even, as `round` does."""

Kept = tuple[tuple[int, tuple[int, ...]], ...]
Rows = list[list[float]]


def read_terms(
    evidence: Evidence,
    kept: Kept,
    terms: list[Term],
    pairs: list[Pair],
    certain: frozenset[int],
) -> tuple[list[SightingPosterior], list[tuple[float, ...]]]:
    """Return what each kept sighting says, and the log odds that each shared ratio moved.

    `terms` are the sightings' (`kept` has their indices, and those of their trials), then the
    ratios'. `certain` are the bits that were told: nothing moves them. They are named because a
    sum that should be 0 may come out of elimination as a very small number.
    """
    said = []
    for n, (i, trials) in enumerate(kept):
        term = terms[n]
        if not term.bits:
            said.append(_without_parents(term))
            continue
        asked = len(evidence.sightings[i].trials)
        moved, totals = _read(term, pairs[n], certain)
        said.append(_one(term, pairs[n], totals, _by_trial(moved, trials, asked)))
    ratios = [
        tuple([row[0] for row in _read(terms[n], pairs[n], certain)[0]])
        for n in range(len(kept), len(terms))
    ]
    return said, ratios


def _read(term: Term, pair: Pair, certain: frozenset[int]) -> tuple[Rows, list[float]]:
    """Return by parent what moved it (the whole term, then each of its trials) and its total."""
    moved = []
    totals = []
    for i, bit in enumerate(term.bits):
        absent, present = pair[0][i], pair[1][i]
        gone, there = _weighed(absent, present, term.weights)
        totals.append(gone + there)
        if gone <= 0.0 or there <= 0.0 or bit in certain:
            moved.append([0.0] * (1 + len(term.unheard)))
            continue
        odds = there / gone
        # value 0 leaves the term out
        row = [_log_odds(odds, absent[0], present[0])]
        for weights in term.unheard:
            without, having = _weighed(absent, present, weights)
            row.append(_log_odds(odds, without, having))
        moved.append(row)
    return moved, totals


def _log_odds(odds: float, absent: float, present: float) -> float:
    """Return the log odds above those of these sums, rounded."""
    before = present / absent if absent > 0.0 and present > 0.0 else 1.0
    return rounded(log(odds / before))


def rounded(value: float) -> float:
    """Return the value to nine digits."""
    return (value * SCALE + _WHOLE - _WHOLE) / SCALE


def _weighed(absent: Weights, present: Weights, weights: Weights) -> tuple[float, float]:
    """Return both sums over the products with these weights."""
    without = having = 0.0
    for k, weight in enumerate(weights):
        without += weight * absent[k]
        having += weight * present[k]
    return without, having


def _by_trial(moved: Rows, trials: tuple[int, ...], asked: int) -> Rows:
    """Return rows of (moved, by trial 0, 1, ...) in the screen's order, 0 where left out."""
    if trials == tuple(range(asked)):
        return moved
    places = {t: 1 + k for k, t in enumerate(trials)}
    return [
        [row[0], *(row[places[t]] if t in places else 0.0 for t in range(asked))] for row in moved
    ]


def _one(term: Term, pair: Pair, totals: list[float], moved: Rows) -> SightingPosterior:
    """Return what one sighting says. `totals` are by parent, each on a scale of its own.

    What the leak explains is the same seen from any parent, so its first will do.
    """
    weights, quiet = term.weights, term.leak_silent
    total = silent = outside = 0.0
    for k, weight in enumerate(weights):
        outside = pair[0][0][k] + pair[1][0][k]
        total += weight * outside
        silent += quiet[k] * outside
    parents = []
    for i, row in enumerate(moved):
        present, factor = pair[1][i], term.factor[i]
        idle = factor[-1]
        fired = 0.0
        for k, weight in enumerate(weights):
            fired += weight * present[k] * (1.0 - idle / factor[k])
        share = _probability(fired / totals[i])
        parents.append(ParentPosterior(share=share, moved=row[0], trial_moved=tuple(row[1:])))
    return SightingPosterior(
        parents=tuple(parents),
        leak_share=_probability(1.0 - silent / total),
        leak_only=_probability(outside * term.leak_alone / total),
    )


def _probability(value: float) -> float:
    if value <= 0.0:
        return 0.0
    return 1.0 if value >= 1.0 else rounded(value)


def _without_parents(term: Term) -> SightingPosterior:
    """Return what a sighting without parents says: it rests on its leak."""
    total = sum(term.weights)
    return SightingPosterior(
        parents=(), leak_share=_probability(1.0 - sum(term.leak_silent) / total), leak_only=1.0
    )
