"""What is weighed when a screen holds more than the work budget allows.

Apart from the sums because this is a policy: it decides by counting cells, never by time, so
that every machine leaves out the same.
"""

import math

from service.engine.infer_order import Part, connected, part_of, summing_order
from service.engine.infer_terms import Prepared, mask_of, products
from service.model.network import Evidence, Sighting
from service.model.records import Leaf

LISTED_CELLS = 512
"""Most combinations of products that are summed in plain lists; measured, compiled: beyond it the
arrays of elimination are faster."""
TOGETHER = 128
"""Most combinations at which parts that are not connected count as one table. A rule of counting
alone: they are summed apart."""
CAREFUL = 48
"""Most sightings for which a second order is looked for: looking costs more than linearly."""


class Piece(Leaf, frozen=True, kw_only=True):
    """One connected part to be summed: `members` index the chosen sightings, then the pairs.

    `order` is None where plain lists do it.
    """

    members: tuple[int, ...]
    part: Part | None
    order: tuple[int, ...] | None


class Choice(Leaf, frozen=True, kw_only=True):
    """What is weighed: sightings by index with the indices of their trials, and its pieces."""

    kept: tuple[tuple[int, tuple[int, ...]], ...]
    pieces: tuple[Piece, ...]


def choose_weighed(prepared: Prepared, evidence: Evidence, pairs: list[tuple[int, ...]]) -> Choice:
    """Return everything if it fits the budget, else the most relevant part that fits.

    `pairs` are the bits of the terms of two products: ratios over several causes, and ties.

    Left out one by one: first the trials of the least relevant sighting, its last change first,
    and so on through all sightings; then, without any trial, the least relevant sightings.
    Equal relevance: the later event goes first. How many must go is found by bisection, after
    trying everything and all sightings without trials with more care. Pairs always stay; a
    budget that they alone exceed does not bind them.
    """
    seen = evidence.sightings
    every = {i: _sorted_trials(one) for i, one in enumerate(seen)}
    careful = len(every) <= CAREFUL
    best = _fitting(prepared, evidence, pairs, every, thorough=careful)
    if best is not None:
        return best
    ranked = sorted(every, key=lambda i: (-seen[i].relevance, seen[i].event))
    trials = [(i, t) for i in ranked for t in every[i]]
    steps = len(trials) + len(ranked)
    fewest, most = 0, steps
    if trials:
        best = _fitting(prepared, evidence, pairs, _cut(ranked, []), thorough=careful)
        fewest, most = (len(trials), steps) if best is None else (0, len(trials))
    while most - fewest > 1:
        gone = (fewest + most) // 2
        tried = _fitting(
            prepared,
            evidence,
            pairs,
            _cut(ranked[: min(len(ranked), steps - gone)], trials[: max(0, len(trials) - gone)]),
        )
        if tried is None:
            fewest = gone
        else:
            most, best = gone, tried
    if best is None:
        best = _fitting(prepared, evidence, pairs, {}, unbounded=True)
        assert best is not None
    return best


def _sorted_trials(seen: Sighting) -> list[int]:
    """Return trial indices by change, so that their order in the screen does not matter."""
    return sorted(range(len(seen.trials)), key=seen.trials.__getitem__)


def _cut(ranked: list[int], trials: list[tuple[int, int]]) -> dict[int, list[int]]:
    """Return these sightings with those of their trials that are left."""
    found: dict[int, list[int]] = {i: [] for i in ranked}
    for i, t in trials:
        found[i].append(t)
    return found


def _fitting(
    prepared: Prepared,
    evidence: Evidence,
    pairs: list[tuple[int, ...]],
    by_sighting: dict[int, list[int]],
    *,
    thorough: bool = False,
    unbounded: bool = False,
) -> Choice | None:
    """Return these sightings with these trials cut into pieces, or None if over the budget.

    `thorough` looks for a second order where the first costs much.
    """
    places = sorted([(evidence.sightings[i].event, i) for i in by_sighting])
    sizes = [products(prepared, evidence.sightings[i], by_sighting[i]) for _, i in places]
    bits = [prepared.bits[event] for event, _ in places]
    masks = [prepared.masks[event] for event, _ in places]
    for own in pairs:
        sizes.append(2)
        bits.append(own)
        masks.append(mask_of(own))
    left = 1 << 62 if unbounded else prepared.network.work_budget
    pieces: list[Piece] = []
    parts = [members for members in connected(masks) if masks[members[0]]]
    for together in _together(parts, sizes):
        members = [m for part in together for m in part]
        combinations = math.prod([sizes[m] for m in members])
        if combinations <= LISTED_CELLS:
            mask = 0
            for m in members:
                mask |= masks[m]
            left -= combinations * mask.bit_count()
            if left < 0:
                return None
            pieces.extend([Piece(members=tuple(part), part=None, order=None) for part in together])
            continue
        part = part_of([sizes[m] for m in members], [bits[m] for m in members], prepared.rank)
        found = summing_order(part, left, thorough=thorough)
        if found is None:
            return None
        left -= found[1]
        pieces.append(Piece(members=tuple(members), part=part, order=found[0]))
    return Choice(kept=tuple([(i, tuple(by_sighting[i])) for _, i in places]), pieces=tuple(pieces))


def _together(parts: list[list[int]], sizes: list[int]) -> list[list[list[int]]]:
    """Return the parts, small ones that count as one together and first."""
    found: list[list[list[int]]] = []
    small: list[list[int]] = []
    combinations = 1
    for members in parts:
        joined = combinations * math.prod([sizes[m] for m in members])
        if joined <= min(TOGETHER, LISTED_CELLS):
            small.append(members)
            combinations = joined
        else:
            found.append([members])
    return [small, *found] if small else found
