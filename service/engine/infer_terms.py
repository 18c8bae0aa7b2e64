"""What inference makes of a network and of each sighting before it sums anything.

Apart from the summing because here the model is written down: a sighting becomes a signed sum
of products, one factor for each parent, and everything else becomes a weight on one cause.
"""

from collections.abc import Iterable
from operator import mul
from typing import TypeAlias

import msgspec
import numpy as np
from numpy.typing import NDArray

from service.model.network import RIGHT, Evidence, LikelihoodRatio, Network, Sighting, Tie
from service.model.records import Leaf

Floats: TypeAlias = NDArray[np.float64]
Weights: TypeAlias = list[float]

Split: TypeAlias = tuple[tuple[int, float], ...]
"""Kind 0 is whatever happens, 1 that no firing persists, 2 that every firing does. Kinds 1 and 2
with a coefficient of 0 are left out: most reports need two products, not three."""

STRONGEST = 0.98
"""Upper end of a strength after scaling."""


Trials: TypeAlias = tuple[tuple[int, int], ...]
"""(change, report) by trial."""
TermKey: TypeAlias = tuple[int, float, float, Trials]
"""Event, leak, scale and trials: all that a sighting's term depends on."""
KNOWN_AT_MOST = 2048
"""Terms that are kept; then all are forgotten at once."""
OUTLINES_AT_MOST = 1024
"""The same of outlines."""


class Outline(Leaf, frozen=True, kw_only=True):
    """What of a sighting's term does not depend on how well it was seen, by product.

    `plain` are the coefficients without the leak. `leak_lost` and `lost[i, k]` are the parts of
    the firings of the leak and of parent i that do not persist; all of them in the last product.
    `leak_stays` is what the leak alone explains. `readings` are those of `Term`, without leak.
    """

    plain: Weights
    leak_lost: Weights
    leak_stays: float
    readings: Floats
    lost: Floats


class Prepared(Leaf, frozen=True, kw_only=True):
    """A network laid out for summing. Per event, in the order of its parents.

    A bit is `2 * variable`, plus 1 for the right side: one yes-or-no question about a cause.
    """

    network: Network
    bits: tuple[tuple[int, ...], ...]
    masks: tuple[int, ...]
    """The variables of each event as the bits of one number."""
    strengths: tuple[Floats, ...]
    priors: tuple[tuple[float, ...], ...]
    rank: tuple[int, ...]
    splits: tuple[Split, ...]
    """By report: (kind, coefficient) of what its probability is a sum of."""
    outlines: dict[tuple[int, Trials], Outline]
    """Outlines made before."""
    known: dict["TermKey", "Term"]
    """Terms made before: coaches see the same things again, and what-ifs change one at a time."""


class Term(Leaf, frozen=True, kw_only=True):
    """A factor over bits as a signed sum of products: sum_k weight[k] prod_i factor[i, k]^bit_i
    (`weights` is the same as a list).

    Value 0 is the empty statement: every factor 1, so weights (1, 0, 0, ...) leave it out.
    `readings` are the weights, those that leave the term out, and those without each of its
    trials; `leak_silent` are those where the leak did not fire.
    `silent[i, k]` = 1 - (factor of parent i present and not firing) / factor[i, k].
    """

    bits: tuple[int, ...]
    weights: Weights
    weight: Floats
    factor: Floats
    readings: Floats
    leak_silent: Weights
    leak_alone: float
    silent: Floats

    @property
    def size(self) -> int:
        """Number of products."""
        return len(self.weights)


class Solved(Leaf, frozen=True, kw_only=True):
    """Sums over one connected part, for each term in the order given.

    `pairs[j]` has the shape (2, bits, products): with that bit (absent, present), the sum over
    everything else, the term's own weights left out. `totals[j]` is the same over both.
    `states` are the four state weights by variable. All share one factor but `log_scale`.
    `condition` is the sum of the parts' sizes over the size of the sum.
    """

    pairs: tuple[Floats, ...]
    states: dict[int, Weights]
    log_total: float
    condition: float


def prepare(network: Network) -> Prepared:
    """Return the network laid out for summing; two parents of one event on one bit are refused."""
    bits = []
    for event in network.events:
        own = tuple(2 * p.variable + (p.mask == RIGHT) for p in event.parents)
        if len(set(own)) < len(own):
            raise ValueError(f"event `{event.id}` has one cause on one side twice; merge them")
        bits.append(own)
    rank = [0] * (2 * len(network.variables))
    for place, variable in enumerate(network.order):
        rank[2 * variable] = 2 * place
        rank[2 * variable + 1] = 2 * place + 1
    return Prepared(
        network=network,
        bits=tuple(bits),
        masks=tuple(mask_of(own) for own in bits),
        strengths=tuple(np.array([p.strength for p in e.parents]) for e in network.events),
        priors=tuple(tuple(round(p, 9) for p in v.prior) for v in network.variables),
        rank=tuple(rank),
        splits=tuple(_split(network, report) for report in range(3)),
        outlines={},
        known={},
    )


def mask_of(bits: tuple[int, ...]) -> int:
    """Return the variables of these bits as the bits of one number."""
    mask = 0
    for bit in bits:
        mask |= 1 << (bit >> 1)
    return mask


def varied(prepared: Prepared, network: Network) -> Prepared:
    """Return the layout of a network that differs in strengths only from one laid out already."""
    pairs = zip(network.events, prepared.network.events, prepared.strengths, strict=True)
    return msgspec.structs.replace(
        prepared,
        network=network,
        strengths=tuple(
            [
                known if event is other else np.array([p.strength for p in event.parents])
                for event, other, known in pairs
            ]
        ),
        known={},
    )


def _split(network: Network, report: int) -> Split:
    """Return the report's probability: M[better] whatever happens, and what each end adds."""
    gone, better, same = (row[report] for row in network.confusion)
    ends = ((1, gone - better), (2, same - better))
    return ((0, better), *((kind, value) for kind, value in ends if value != 0.0))


def products(prepared: Prepared, seen: Sighting, trials: Iterable[int]) -> int:
    """Return how many products the term of a sighting with these trials has."""
    size = 1
    for t in trials:
        size *= len(prepared.splits[seen.trials[t][1]])
    return size + 1


def sighting_term(prepared: Prepared, seen: Sighting, trials: tuple[int, ...]) -> Term:
    """Return the term of a sighting with the trials of these indices only; made once."""
    asked = tuple([seen.trials[t] for t in trials])
    key = (seen.event, seen.leak, seen.scale, asked)
    term = prepared.known.get(key)
    if term is None:
        if len(prepared.known) >= KNOWN_AT_MOST:
            prepared.known.clear()
        term = prepared.known[key] = _sighting_term(prepared, seen, asked)
    return term


def _sighting_term(prepared: Prepared, seen: Sighting, trials: Trials) -> Term:
    """Return the term of a sighting with these trials only."""
    outline = prepared.outlines.get((seen.event, trials))
    if outline is None:
        if len(prepared.outlines) >= OUTLINES_AT_MOST:
            prepared.outlines.clear()
        outline = _outline(prepared, seen.event, trials)
        prepared.outlines[seen.event, trials] = outline
    quiet = 1.0 - seen.leak
    leaks = [1.0 - seen.leak * lost for lost in outline.leak_lost]
    leaks.append(-quiet)
    readings = outline.readings * np.array(leaks)
    weights: Weights = readings[0].tolist()
    strength = np.minimum(prepared.strengths[seen.event] * seen.scale, STRONGEST)
    # 1 - s (1 - w) is exactly 1 for w = 1
    factor = 1.0 - strength[:, None] * outline.lost
    return Term(
        bits=prepared.bits[seen.event],
        weights=weights,
        weight=readings[0],
        factor=factor,
        readings=readings,
        leak_silent=[*[plain * quiet for plain in outline.plain], weights[-1]],
        leak_alone=seen.leak * outline.leak_stays,
        silent=1.0 - factor[:, -1:] / factor,
    )


def _outline(prepared: Prepared, event: int, trials: Trials) -> Outline:
    """Return the outline of the term of an event with these trials.

    Given that the set F fired, a report under one change has the probability
    M[better] + (M[gone] - M[better]) prod(1 - a_i) + (M[same] - M[better]) prod(a_i), i in F,
    so T trials are at most 3^T products; the empty set is taken out by one more, the last.
    """
    changes = [change for change, _ in trials]
    splits = [prepared.splits[report] for _, report in trials]
    asked = prepared.network.events[event]
    plain = _outer(splits)
    stays = _persisting(asked.leak_persists, changes, splits)
    kept = [_persisting(parent.persists, changes, splits) for parent in asked.parents]
    unheard = [
        _outer([*splits[:t], _silenced(one), *splits[t + 1 :]]) for t, one in enumerate(splits)
    ]
    alone = [1.0] + [0.0] * len(stays)
    return Outline(
        plain=plain,
        leak_lost=[1.0 - s for s in stays],
        leak_stays=sum(map(mul, plain, stays)),
        readings=np.array([[*plain, sum(plain)], alone, *([*own, sum(own)] for own in unheard)]),
        lost=np.array([[*(1.0 - k for k in own), 1.0] for own in kept]).reshape(-1, len(alone)),
    )


def _persisting(persists: tuple[float, ...], changes: list[int], splits: list[Split]) -> Weights:
    """Return of 1, 1 - a and a for each change all products that count."""
    found = [1.0]
    for change, split in zip(changes, splits, strict=True):
        a = persists[change]
        each = (1.0, 1.0 - a, a)
        found = [f * each[kind] for f in found for kind, _ in split]
    return found


def _silenced(split: Split) -> Split:
    """Return the split of a report that says nothing."""
    return tuple([(kind, 0.0 if kind else 1.0) for kind, _ in split])


def _outer(splits: Iterable[Split]) -> Weights:
    found = [1.0]
    for split in splits:
        found = [f * value for f in found for _, value in split]
    return found


def ratio_term(measured: LikelihoodRatio) -> Term:
    """Return the term of a ratio over several targets: ratio + (1 - ratio) [all absent]."""
    count = len(measured.targets)
    factor = np.zeros((count, 2))
    factor[:, 0] = 1.0
    weights = [measured.ratio, 1.0 - measured.ratio]
    readings = np.array([weights, [1.0, 0.0]])
    return Term(
        bits=tuple(2 * v + (mask == RIGHT) for v, mask in measured.targets),
        weights=weights,
        weight=readings[0],
        factor=factor,
        readings=readings,
        leak_silent=[],
        leak_alone=0.0,
        silent=np.zeros((count, 2)),
    )


def tie_bits(tie: Tie) -> tuple[int, ...]:
    """Return the two bits of a tie."""
    return tuple(2 * v + (mask == RIGHT) for v, mask in (tie.before, tie.later))


def tie_term(tie: Tie) -> Term:
    """Return the term of a tie: its table of two by two as two products.

    A product w e^before e^later with a small e > 0 leaves, for one w, a table of rank one. No
    factor is 0, so that a cause that is known to be present divides nothing by 0.
    """
    gone, new = 1.0 - tie.stays, tie.comes
    small = min(gone, new) / 16
    apart = tie.stays - (new + gone) * small + (1.0 - new) * small * small
    first = (tie.stays - new) / apart
    second = 1.0 - new - first
    weights = [first, second]
    before = (gone - first * small) / second
    later = (new - first * small) / second
    readings = np.array([weights, [1.0, 0.0]])
    return Term(
        bits=tie_bits(tie),
        weights=weights,
        weight=readings[0],
        factor=np.array([[small, before], [small, later]]),
        readings=readings,
        leak_silent=[],
        leak_alone=0.0,
        silent=np.zeros((2, 2)),
    )


def single_weights(prepared: Prepared, evidence: Evidence) -> dict[int, Weights]:
    """Return the state weights (always four) of each variable that something speaks of alone.

    Prior times fixed facts, absences and ratios of one target, each multiplied in an order that
    does not depend on the order of the evidence. A fact that would leave no state is passed
    over: the reader never sends one, and an answer is better than a division by zero.
    """
    found: dict[int, Weights] = {}
    variables = prepared.network.variables

    def of(variable: int) -> Weights:
        if variable not in found:
            prior = variables[variable].prior
            found[variable] = [*prior, 0.0, 0.0] if len(prior) == 2 else list(prior)
        return found[variable]

    for fact in sorted(evidence.fixed, key=lambda f: (f.variable, f.mask, f.present)):
        old = of(fact.variable)
        kept = [w if bool(s & fact.mask) == fact.present else 0.0 for s, w in enumerate(old)]
        if any(kept):
            found[fact.variable] = kept
    by_bit: dict[int, float] = {}
    for absence in sorted(evidence.absences, key=lambda a: a.event):
        parents = prepared.network.events[absence.event].parents
        for bit, parent in zip(prepared.bits[absence.event], parents, strict=True):
            left = 1.0 - min(absence.scale * parent.strength, STRONGEST)
            by_bit[bit] = by_bit.get(bit, 1.0) * left
    for ratio in sorted(evidence.ratios, key=lambda r: (r.targets, r.ratio)):
        if len(ratio.targets) == 1:
            variable, mask = ratio.targets[0]
            bit = 2 * variable + (mask == RIGHT)
            by_bit[bit] = by_bit.get(bit, 1.0) * ratio.ratio
    for bit, factor in by_bit.items():
        weights = of(bit >> 1)
        mask = 1 + (bit & 1)
        weights[mask] *= factor
        weights[3] *= factor
    return found


def full_weights(prepared: Prepared, single: dict[int, Weights], variable: int) -> Weights:
    """Return the four state weights of a variable, its prior where nothing speaks of it alone."""
    weights = single.get(variable)
    if weights is not None:
        return weights
    prior = prepared.network.variables[variable].prior
    return [*prior, 0.0, 0.0] if len(prior) == 2 else list(prior)
