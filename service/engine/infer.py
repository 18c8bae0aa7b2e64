"""The exact posterior of a noisy-OR network with trials, and how much each sighting moved it.

Apart from the sums because here the answer is put together: what was summed becomes states,
shares and log odds, rounded. No BLAS, and no exp or log on arrays, so that the bytes of an
answer do not depend on the machine.
"""

import math

from service.engine.infer_answer import DIGITS, SCALE, read_terms
from service.engine.infer_budget import Choice, Piece, choose_weighed
from service.engine.infer_dense import solve_dense
from service.engine.infer_order import part_of, summing_order
from service.engine.infer_tables import solve_tables
from service.engine.infer_terms import (
    Floats,
    Prepared,
    Solved,
    Term,
    Weights,
    full_weights,
    prepare,
    ratio_term,
    sighting_term,
    single_weights,
    tie_bits,
    tie_term,
    varied,
)
from service.engine.kept import Keeper
from service.model.network import (
    Evidence,
    LikelihoodRatio,
    Network,
    Posterior,
    SightingPosterior,
)

CONDITION_LIMIT = 1e6
"""Above this ratio of summed sizes to the sum, a dense part is summed again, terms first."""

_PREPARED = Keeper(prepare)


def laid_out(network: Network) -> Prepared:
    """Return the network laid out for summing, made once."""
    return _PREPARED.of(network)


def infer(network: Network, evidence: Evidence, *, like: Network | None = None) -> Posterior:
    """Return the exact posterior over what is weighed; see `Posterior` for each number.

    `like` is a kept network of which this one is a passing variation: what both share is not
    laid out again, and the variation is not kept.

    The order of sightings, absences, ratios, fixed facts and trials changes nothing but the
    order of the answer. Where a probability is exactly 0 or 1 nothing can move it: 0.0.
    """
    prepared = _PREPARED.of(network) if like is None else varied(_PREPARED.of(like), network)
    single = single_weights(prepared, evidence)
    shared = _shared_ratios(prepared, evidence, single)
    ties = sorted(evidence.ties, key=lambda t: (t.before, t.later))
    ratios = [ratio_term(evidence.ratios[r]) for r in shared]
    choice = choose_weighed(
        prepared, evidence, [*(r.bits for r in ratios), *(tie_bits(t) for t in ties)]
    )
    terms = [sighting_term(prepared, evidence.sightings[i], own) for i, own in choice.kept]
    terms += [*ratios, *(tie_term(t) for t in ties)]
    pairs: list[Floats | None] = [None] * len(terms)
    states: dict[int, Weights] = {}
    log_total = 0.0
    for piece in choice.pieces:
        solved = _solve(prepared, single, [terms[m] for m in piece.members], piece)
        log_total += solved.log_total
        states.update(solved.states)
        for member, pair in zip(piece.members, solved.pairs, strict=True):
            pairs[member] = pair
    for variable in sorted(single):
        if variable not in states:
            states[variable] = single[variable]
            log_total += math.log(sum(single[variable]))
    log_total += _constants(prepared, evidence, single, choice, terms)
    return _answer(prepared, evidence, single, choice, terms, pairs, shared, states, log_total)


def _shared_ratios(prepared: Prepared, evidence: Evidence, single: dict[int, Weights]) -> list[int]:
    """Return the indices of ratios over several targets, none of them certain, in fixed order."""
    return sorted(
        (
            r
            for r, one in enumerate(evidence.ratios)
            if len(one.targets) > 1 and not _is_certain(prepared, one, single)
        ),
        key=lambda r: (evidence.ratios[r].targets, evidence.ratios[r].ratio),
    )


def _is_certain(prepared: Prepared, one: LikelihoodRatio, single: dict[int, Weights]) -> bool:
    """Say if a target is present in every state left, which makes the ratio a constant."""
    masks: dict[int, int] = {}
    for variable, mask in one.targets:
        masks[variable] = masks.get(variable, 0) | mask
    return any(
        not any(w for s, w in enumerate(full_weights(prepared, single, v)) if not s & mask)
        for v, mask in masks.items()
    )


def _solve(
    prepared: Prepared, single: dict[int, Weights], terms: list[Term], piece: Piece
) -> Solved:
    """Return the sums of one piece; an ill-conditioned dense one is summed again, terms first."""
    variables = sorted({b >> 1 for t in terms for b in t.bits})
    weights = {v: full_weights(prepared, single, v) for v in variables}
    if piece.part is not None and piece.order is not None:
        return solve_tables(terms, weights, piece.part, piece.order)
    dense = solve_dense(terms, weights)
    if dense.condition <= CONDITION_LIMIT:
        return dense
    part = part_of([t.size for t in terms], [t.bits for t in terms], prepared.rank)
    found = summing_order(part, prepared.network.work_budget, bits_last=True)
    return dense if found is None else solve_tables(terms, weights, part, found[0])


def _constants(
    prepared: Prepared,
    evidence: Evidence,
    single: dict[int, Weights],
    choice: Choice,
    terms: list[Term],
) -> float:
    """Return the logs of what no cause changes: sightings without parents, certain ratios."""
    total = 0.0
    for place, _ in enumerate(choice.kept):
        if not terms[place].bits:
            total += math.log(sum(terms[place].weights))
    for one in sorted(evidence.ratios, key=lambda r: (r.targets, r.ratio)):
        if len(one.targets) > 1 and _is_certain(prepared, one, single):
            total += math.log(one.ratio)
    return total


def _answer(
    prepared: Prepared,
    evidence: Evidence,
    single: dict[int, Weights],
    choice: Choice,
    terms: list[Term],
    pairs: list[Floats | None],
    shared: list[int],
    states: dict[int, Weights],
    log_total: float,
) -> Posterior:
    certain = _certain_bits(prepared, evidence, single)
    spoken = len(choice.kept) + len(shared)
    said, shared_moved = read_terms(evidence, choice.kept, terms[:spoken], pairs[:spoken], certain)
    sightings: list[SightingPosterior | None] = [None] * len(evidence.sightings)
    lost: list[tuple[int, int]] = []
    for (i, own), one in zip(choice.kept, said, strict=True):
        sightings[i] = one
        lost.extend((i, t) for t in range(len(evidence.sightings[i].trials)) if t not in own)
    moved = [
        _single_moved(prepared, one, single) if len(one.targets) == 1 else (0.0,) * len(one.targets)
        for one in evidence.ratios
    ]
    for r, each in zip(shared, shared_moved, strict=True):
        moved[r] = each
    return Posterior(
        states=_states(prepared, states),
        sightings=tuple(sightings),
        ratio_moved=tuple(moved),
        unweighed=tuple(i for i, s in enumerate(sightings) if s is None),
        log_evidence=round(log_total, DIGITS),
        unweighed_trials=tuple(sorted(lost)),
    )


def _certain_bits(
    prepared: Prepared, evidence: Evidence, single: dict[int, Weights]
) -> frozenset[int]:
    """Return the bits that what was told leaves only one value."""
    found = set()
    for variable in {fact.variable for fact in evidence.fixed}:
        weights = full_weights(prepared, single, variable)
        for side, mask in ((0, 1), (1, 2)):
            present = [w for s, w in enumerate(weights) if s & mask]
            absent = [w for s, w in enumerate(weights) if not s & mask]
            if not any(present) or not any(absent):
                found.add(2 * variable + side)
    return frozenset(found)


def _states(prepared: Prepared, found: dict[int, Weights]) -> tuple[tuple[float, ...], ...]:
    """Return the rounded state probabilities of every variable."""
    answer = list(prepared.priors)
    for variable, weights in found.items():
        some = [w if w > 0.0 else 0.0 for w in weights]
        total = some[0] + some[1] + some[2] + some[3]
        count = len(answer[variable])
        answer[variable] = tuple([round(w / total * SCALE) / SCALE for w in some[:count]])
    return tuple(answer)


def _single_moved(
    prepared: Prepared, one: LikelihoodRatio, single: dict[int, Weights]
) -> tuple[float]:
    """Return ln(ratio): a ratio of one target moves its odds by exactly that."""
    variable, mask = one.targets[0]
    weights = full_weights(prepared, single, variable)
    present = any(w for s, w in enumerate(weights) if s & mask)
    absent = any(w for s, w in enumerate(weights) if not s & mask)
    return (round(math.log(one.ratio), DIGITS) if present and absent else 0.0,)
