"""What inference makes of a network and of each sighting before it sums anything.

Apart from the summing because here the model is written down: a sighting becomes a signed sum
of products, one factor for each parent, and everything else becomes a weight on one cause.
"""

from collections.abc import Iterable
from typing import TypeAlias

from service.engine.infer_cells import Weights, outer
from service.model.network import RIGHT, Event, Evidence, LikelihoodRatio, Network, Sighting, Tie

Pair: TypeAlias = list[list[Weights]]
"""By bit absent (0) or present (1), by bit, by product; see `Solved`."""

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


class Outline:
    """What of a sighting's term does not depend on how well it was seen, by product.

    `plain` are the coefficients without the leak, `unheard` the same without each of the trials.
    `leak_lost` and `lost[i]` are the parts of the firings of the leak and of parent i that do not
    persist; all of them in the last product. `leak_stays` is what the leak alone explains.
    """

    def __init__(
        self,
        plain: Weights,
        unheard: list[Weights],
        leak_lost: Weights,
        leak_stays: float,
        lost: list[Weights],
    ) -> None:
        self.plain = plain
        self.unheard = unheard
        self.leak_lost = leak_lost
        self.leak_stays = leak_stays
        self.lost = lost


class Prepared:
    """A network laid out for summing. Per event, in the order of its parents.

    A bit is `2 * variable`, plus 1 for the right side: one yes-or-no question about a cause.
    `masks` are the variables of each event as the bits of one number; `weights` the four state
    weights of each variable where nothing speaks of it; `kinds` and `shares` are by report those
    of what its probability is a sum of. `outlines` and `known` are outlines and terms made
    before: coaches see the same things again, and what-ifs change one at a time.
    """

    def __init__(
        self, network: Network, strengths: list[tuple[float, ...]], like: "Prepared | None" = None
    ) -> None:
        """Lay out a network; `like` is the layout of one that differs in strengths only."""
        self.network = network
        self.strengths = strengths
        self.known: dict[TermKey, Term] = {}
        if like is not None:
            self.bits: list[tuple[int, ...]] = like.bits
            self.masks: list[int] = like.masks
            self.persists: list[list[tuple[float, ...]]] = like.persists
            self.priors: list[tuple[float, ...]] = like.priors
            self.weights: list[Weights] = like.weights
            self.rank: tuple[int, ...] = like.rank
            self.kinds: list[list[int]] = like.kinds
            self.shares: list[Weights] = like.shares
            self.outlines: dict[tuple[int, Trials], Outline] = like.outlines
            return
        self.bits = [_bits(event) for event in network.events]
        self.masks = [mask_of(own) for own in self.bits]
        self.persists = [[p.persists for p in event.parents] for event in network.events]
        self.priors = [tuple([round(p, 9) for p in v.prior]) for v in network.variables]
        self.weights = [[*v.prior, 0.0, 0.0][:4] for v in network.variables]
        rank = [0] * (2 * len(network.variables))
        for place, variable in enumerate(network.order):
            rank[2 * variable] = 2 * place
            rank[2 * variable + 1] = 2 * place + 1
        self.rank = tuple(rank)
        splits = [_split(network, report) for report in range(3)]
        self.kinds = [[kind for kind, _ in split] for split in splits]
        self.shares = [[share for _, share in split] for split in splits]
        self.outlines = {}


class Term:
    """A factor over bits as a signed sum of products: sum_k weights[k] prod_i factor[i][k]^bit_i.

    Value 0 is the empty statement: every factor 1, so weights (1, 0, 0, ...) leave it out.
    `unheard` are the weights without each of its trials, `leak_silent` those where the leak did
    not fire. In the last product every parent that is present did not fire.
    """

    def __init__(
        self,
        bits: tuple[int, ...],
        weights: Weights,
        factor: list[Weights],
        unheard: list[Weights],
        leak_silent: Weights,
        leak_alone: float,
    ) -> None:
        self.bits = bits
        self.weights = weights
        self.factor = factor
        self.unheard = unheard
        self.leak_silent = leak_silent
        self.leak_alone = leak_alone


class Solved:
    """Sums over one connected part, for each term in the order given.

    `pairs[j][a][i][k]`: with bit i of term j absent (a = 0) or present (1), the sum over
    everything else for product k, the term's own weights left out. `states` are the four state
    weights by variable. All share one factor but `log_total`. `condition` is the sum of the
    parts' sizes over the size of the sum.
    """

    def __init__(
        self,
        pairs: list[Pair],
        states: dict[int, Weights],
        log_total: float,
        condition: float,
    ) -> None:
        self.pairs = pairs
        self.states = states
        self.log_total = log_total
        self.condition = condition


def prepare(network: Network) -> Prepared:
    """Return the network laid out for summing; two parents of one event on one bit are refused."""
    strengths = [tuple([p.strength for p in event.parents]) for event in network.events]
    return Prepared(network, strengths)


def _bits(event: Event) -> tuple[int, ...]:
    own = tuple([2 * p.variable + (p.mask == RIGHT) for p in event.parents])
    if len(set(own)) < len(own):
        raise ValueError(f"event `{event.id}` has one cause on one side twice; merge them")
    return own


def mask_of(bits: tuple[int, ...]) -> int:
    """Return the variables of these bits as the bits of one number."""
    mask = 0
    for bit in bits:
        mask |= 1 << (bit >> 1)
    return mask


def varied(prepared: Prepared, network: Network) -> Prepared:
    """Return the layout of a network that differs in strengths only from one laid out already."""
    pairs = zip(network.events, prepared.network.events, prepared.strengths, strict=True)
    strengths = [
        known if event is other else tuple([p.strength for p in event.parents])
        for event, other, known in pairs
    ]
    return Prepared(network, strengths, prepared)


def _split(network: Network, report: int) -> Split:
    """Return the report's probability: M[better] whatever happens, and what each end adds."""
    gone, better, same = (row[report] for row in network.confusion)
    ends = ((1, gone - better), (2, same - better))
    return ((0, better), *((kind, value) for kind, value in ends if value != 0.0))


def products(prepared: Prepared, seen: Sighting, trials: Iterable[int]) -> int:
    """Return how many products the term of a sighting with these trials has."""
    size = 1
    trials_of = seen.trials
    for t in trials:
        size *= len(prepared.kinds[trials_of[t][1]])
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
    event = seen.event
    outline = prepared.outlines.get((event, trials))
    if outline is None:
        if len(prepared.outlines) >= OUTLINES_AT_MOST:
            prepared.outlines.clear()
        outline = prepared.outlines[event, trials] = _outline(prepared, event, trials)
    leak = seen.leak
    scale = seen.scale
    quiet = 1.0 - leak
    leaks = [1.0 - leak * lost for lost in outline.leak_lost]
    leaks.append(-quiet)
    plain = outline.plain
    weights = [plain[k] * leaks[k] for k in range(len(leaks))]
    leak_silent = [p * quiet for p in plain]
    leak_silent[-1] = weights[-1]
    return Term(
        prepared.bits[event],
        weights,
        [
            _factors(min(strength * scale, STRONGEST), lost)
            for strength, lost in zip(prepared.strengths[event], outline.lost, strict=False)
        ],
        [[own[k] * leaks[k] for k in range(len(leaks))] for own in outline.unheard],
        leak_silent,
        leak * outline.leak_stays,
    )


def _factors(strength: float, lost: Weights) -> Weights:
    """Return 1 - s (1 - w) by product, which is exactly 1 for w = 1."""
    return [1.0 - strength * own for own in lost]


def _outline(prepared: Prepared, event: int, trials: Trials) -> Outline:
    """Return the outline of the term of an event with these trials.

    Given that the set F fired, a report under one change has the probability
    M[better] + (M[gone] - M[better]) prod(1 - a_i) + (M[same] - M[better]) prod(a_i), i in F,
    so T trials are at most 3^T products; the empty set is taken out by one more, the last.
    """
    changes = [change for change, _ in trials]
    kinds = [prepared.kinds[report] for _, report in trials]
    shares = [prepared.shares[report] for _, report in trials]
    stays = _persisting(prepared.network.events[event].leak_persists, changes, kinds)
    plain = outer(shares)
    leak_stays = 0.0
    for k, stay in enumerate(stays):
        leak_stays += plain[k] * stay
    unheard = []
    for t, own in enumerate(kinds):
        silenced = list(shares)
        silenced[t] = [0.0 if kind else 1.0 for kind in own]
        unheard.append(_closed(outer(silenced)))
    return Outline(
        _closed(plain),
        unheard,
        [1.0 - stay for stay in stays],
        leak_stays,
        [
            [*[1.0 - kept for kept in _persisting(persists, changes, kinds)], 1.0]
            for persists in prepared.persists[event]
        ],
    )


def _closed(coefficients: Weights) -> Weights:
    """Return coefficients with what the empty set takes away, their sum, last."""
    return [*coefficients, sum(coefficients)]


def _persisting(persists: tuple[float, ...], changes: list[int], kinds: list[list[int]]) -> Weights:
    """Return of 1, 1 - a and a for each change all products that count."""
    factors = []
    for t, change in enumerate(changes):
        a = persists[change]
        each = [1.0, 1.0 - a, a]
        factors.append([each[kind] for kind in kinds[t]])
    return outer(factors)


def ratio_term(measured: LikelihoodRatio) -> Term:
    """Return the term of a ratio over several targets: ratio + (1 - ratio) [all absent]."""
    return Term(
        tuple([2 * v + (mask == RIGHT) for v, mask in measured.targets]),
        [measured.ratio, 1.0 - measured.ratio],
        [[1.0, 0.0] for _ in measured.targets],
        [],
        [],
        0.0,
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
    return Term(tie_bits(tie), weights, [[small, before], [small, later]], [], [], 0.0)


def single_weights(prepared: Prepared, evidence: Evidence) -> dict[int, Weights]:
    """Return the state weights (always four) of each variable that something speaks of alone.

    Prior times fixed facts, absences and ratios of one target, each multiplied in an order that
    does not depend on the order of the evidence. A fact that would leave no state is passed
    over: the reader never sends one, and an answer is better than a division by zero.
    """
    found: dict[int, Weights] = {}
    if evidence.fixed:
        for fact in sorted(evidence.fixed, key=lambda f: (f.variable, f.mask, f.present)):
            old = full_weights(prepared, found, fact.variable)
            kept = [w if bool(s & fact.mask) == fact.present else 0.0 for s, w in enumerate(old)]
            if any(kept):
                found[fact.variable] = kept
    by_bit: dict[int, float] = {}
    absences = sorted([(one.event, one.scale) for one in evidence.absences])
    for event, scale in absences:
        bits = prepared.bits[event]
        for i, strength in enumerate(prepared.strengths[event]):
            left = 1.0 - min(scale * strength, STRONGEST)
            by_bit[bits[i]] = by_bit.get(bits[i], 1.0) * left
    for targets, ratio in sorted([(one.targets, one.ratio) for one in evidence.ratios]):
        if len(targets) == 1:
            variable, mask = targets[0]
            bit = 2 * variable + (mask == RIGHT)
            by_bit[bit] = by_bit.get(bit, 1.0) * ratio
    for bit, factor in by_bit.items():
        weights = found.get(bit >> 1)
        if weights is None:
            weights = found[bit >> 1] = list(prepared.weights[bit >> 1])
        mask = 1 + (bit & 1)
        weights[mask] *= factor
        weights[3] *= factor
    return found


def full_weights(prepared: Prepared, single: dict[int, Weights], variable: int) -> Weights:
    """Return the four state weights of a variable, its prior where nothing speaks of it alone."""
    weights = single.get(variable)
    return prepared.weights[variable] if weights is None else weights


def two_sums(weights: Weights, bit: int) -> Weights:
    """Return the weight of the states without this bit, and of those with it."""
    if bit & 1:
        return [weights[0] + weights[1], weights[2] + weights[3]]
    return [weights[0] + weights[2], weights[1] + weights[3]]


def divided(weights: Weights, bit: int, absent: float, present: float) -> Weights:
    """Return state weights where only one bit was touched: the other follows its prior."""
    mask = 1 + (bit & 1)
    without, having = two_sums(weights, bit)
    found = []
    for s, weight in enumerate(weights):
        if not weight:
            found.append(0.0)
        elif s & mask:
            found.append(weight * present / having)
        else:
            found.append(weight * absent / without)
    return found
