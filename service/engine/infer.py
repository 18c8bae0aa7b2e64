"""The exact posterior of a noisy-OR network with trials, and how much each sighting moved it.

Apart from the sums because here the answer is put together: what was summed becomes states,
shares and log odds, rounded. No BLAS, and no exp or log on arrays, so that the bytes of an
answer do not depend on the machine.
"""

import math

from service.engine.infer_answer import DIGITS, read_terms, rounded
from service.engine.infer_budget import Choice, Piece, choose_weighed
from service.engine.infer_cells import Weights
from service.engine.infer_lists import solve_lists
from service.engine.infer_order import part_of, summing_order
from service.engine.infer_tables import solve_tables
from service.engine.infer_terms import (
    Pair,
    Prepared,
    Solved,
    Term,
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
"""Above this ratio of summed sizes to the sum, a part in lists is summed again, terms first."""

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
    ties = list(evidence.ties)
    if len(ties) > 1:
        ties.sort(key=lambda t: (t.before, t.later))
    ratios = [ratio_term(evidence.ratios[r]) for r in shared]
    pairs_of = [term.bits for term in ratios]
    pairs_of += [tie_bits(tie) for tie in ties]
    choice = choose_weighed(prepared, evidence, pairs_of)
    terms = [sighting_term(prepared, evidence.sightings[i], own) for i, own in choice.kept]
    terms += ratios
    terms += [tie_term(tie) for tie in ties]
    pairs: list[Pair] = [[] for _ in terms]
    states: dict[int, Weights] = {}
    log_total = 0.0
    for piece in choice.pieces:
        members = piece.members
        solved = _solve(prepared, single, [terms[m] for m in members], piece)
        log_total += solved.log_total
        states.update(solved.states)
        for n, member in enumerate(members):
            pairs[member] = solved.pairs[n]
    for variable in sorted(single):
        if variable not in states:
            states[variable] = single[variable]
            log_total += math.log(sum(single[variable]))
    log_total += _constants(prepared, evidence, single, choice, terms)
    return _answer(prepared, evidence, single, choice, terms, pairs, shared, states, log_total)


def _shared_ratios(prepared: Prepared, evidence: Evidence, single: dict[int, Weights]) -> list[int]:
    """Return the indices of ratios over several targets, none of them certain, in fixed order."""
    ratios = evidence.ratios
    shared = [r for r, one in enumerate(ratios) if len(one.targets) > 1]
    if shared:
        shared = [r for r in shared if not _is_certain(prepared, ratios[r], single)]
        shared.sort(key=lambda r: (ratios[r].targets, ratios[r].ratio))
    return shared


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
    """Return the sums of one piece; ill-conditioned in lists, it is summed again, terms first."""
    touched = {bit >> 1 for term in terms for bit in term.bits}
    weights = {v: full_weights(prepared, single, v) for v in sorted(touched)}
    if piece.part is not None and piece.order is not None:
        return solve_tables(terms, weights, piece.part, piece.order)
    listed = solve_lists(terms, weights)
    if listed.condition <= CONDITION_LIMIT:
        return listed
    part = part_of([len(t.weights) for t in terms], [t.bits for t in terms], prepared.rank)
    found = summing_order(part, prepared.network.work_budget, bits_last=True)
    return listed if found is None else solve_tables(terms, weights, part, found[0])


def _constants(
    prepared: Prepared,
    evidence: Evidence,
    single: dict[int, Weights],
    choice: Choice,
    terms: list[Term],
) -> float:
    """Return the logs of what no cause changes: sightings without parents, certain ratios."""
    total = 0.0
    for place in range(len(choice.kept)):
        if not terms[place].bits:
            total += math.log(sum(terms[place].weights))
    certain = [
        (one.targets, one.ratio)
        for one in evidence.ratios
        if len(one.targets) > 1 and _is_certain(prepared, one, single)
    ]
    for _, ratio in sorted(certain):
        total += math.log(ratio)
    return total


def _answer(
    prepared: Prepared,
    evidence: Evidence,
    single: dict[int, Weights],
    choice: Choice,
    terms: list[Term],
    pairs: list[Pair],
    shared: list[int],
    states: dict[int, Weights],
    log_total: float,
) -> Posterior:
    certain = _certain_bits(prepared, evidence, single)
    spoken = len(choice.kept) + len(shared)
    said, shared_moved = read_terms(evidence, choice.kept, terms[:spoken], pairs[:spoken], certain)
    sightings: list[SightingPosterior | None] = [None] * len(evidence.sightings)
    lost: list[tuple[int, int]] = []
    for n, (i, own) in enumerate(choice.kept):
        sightings[i] = said[n]
        trials = len(evidence.sightings[i].trials)
        if len(own) < trials:
            lost.extend([(i, t) for t in range(trials) if t not in own])
    moved = [
        _single_moved(prepared, one, single) if len(one.targets) == 1 else (0.0,) * len(one.targets)
        for one in evidence.ratios
    ]
    for n, r in enumerate(shared):
        moved[r] = shared_moved[n]
    return Posterior(
        states=_states(prepared, states),
        sightings=tuple(sightings),
        ratio_moved=tuple(moved),
        unweighed=tuple([i for i, s in enumerate(sightings) if s is None]),
        log_evidence=round(log_total, DIGITS),
        unweighed_trials=tuple(sorted(lost)),
    )


def _certain_bits(
    prepared: Prepared, evidence: Evidence, single: dict[int, Weights]
) -> frozenset[int]:
    """Return the bits that what was told leaves only one value."""
    found: set[int] = set()
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
        answer[variable] = tuple([rounded(w / total) for w in some[:count]])
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
