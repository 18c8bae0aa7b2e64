"""Slow and obvious answers that the engine is held against.

Apart from the tests because nothing here may share code with the engine: the exact posterior is
written from the definition (states, firing sets, outcomes), in fractions; the wide one from the
product formula in decimals of 60 digits.
"""

import decimal
import itertools
import math
from collections.abc import Iterator
from fractions import Fraction

import numpy as np
from msgspec.structs import replace

from service.model.network import (
    Evidence,
    LikelihoodRatio,
    Network,
    Parent,
    Posterior,
    Sighting,
)

State = tuple[int, ...]
NOBODY = -2
LEAK = -1


def _all_states(network: Network) -> Iterator[State]:
    return itertools.product(*(range(len(v.prior)) for v in network.variables))


def _strength(parent: Parent, scale: float) -> Fraction:
    return Fraction(min(parent.strength * scale, 0.98))


def report_probability(network: Network, persists: list[Fraction], report: int) -> Fraction:
    """Return P(report | these fired and each keeps firing with this probability)."""
    gone = same = Fraction(1)
    for a in persists:
        gone *= 1 - a
        same *= a
    truth = (gone, 1 - gone - same, same)
    return sum(
        (Fraction(network.confusion[t][report]) * truth[t] for t in range(3)), start=Fraction(0)
    )


def sighting_probability(
    network: Network, seen: Sighting, state: State, silent: int = NOBODY, *, parents: bool = True
) -> Fraction:
    """Return P(positive, reports, and `silent` did not fire | state), over all firing sets.

    `silent` is the index of a parent, or LEAK; without `parents`, no parent fired.
    """
    event = network.events[seen.event]
    could = [(LEAK, Fraction(seen.leak))]
    could += [
        (i, _strength(p, seen.scale))
        for i, p in enumerate(event.parents)
        if state[p.variable] & p.mask
    ]
    total = Fraction(0)
    for fired in itertools.product((False, True), repeat=len(could)):
        firing = [i for (i, _), f in zip(could, fired, strict=True) if f]
        if not firing or silent in firing or (not parents and firing != [LEAK]):
            continue
        one = Fraction(1)
        for (_, s), f in zip(could, fired, strict=True):
            one *= s if f else 1 - s
        for change, report in seen.trials:
            keep = [
                Fraction(
                    event.leak_persists[change] if i == LEAK else event.parents[i].persists[change]
                )
                for i in firing
            ]
            one *= report_probability(network, keep, report)
        total += one
    return total


def state_weight(network: Network, evidence: Evidence, state: State) -> Fraction:
    """Return prior times everything that is not a sighting."""
    weight = Fraction(1)
    for variable, s in zip(network.variables, state, strict=True):
        weight *= Fraction(variable.prior[s])
    for fact in evidence.fixed:
        weight *= bool(state[fact.variable] & fact.mask) == fact.present
    for absence in evidence.absences:
        for p in network.events[absence.event].parents:
            if state[p.variable] & p.mask:
                weight *= 1 - _strength(p, absence.scale)
    for one in evidence.ratios:
        if any(state[v] & m for v, m in one.targets):
            weight *= Fraction(one.ratio)
    for tie in evidence.ties:
        before, later = (bool(state[v] & m) for v, m in (tie.before, tie.later))
        there = Fraction(tie.stays if before else tie.comes)
        weight *= there if later else 1 - there
    return weight


class Exact:
    """All states of a small network with their weights under evidence."""

    def __init__(self, network: Network, evidence: Evidence) -> None:
        self.network = network
        self.evidence = evidence
        self.known: dict[tuple[object, ...], Fraction] = {}
        base = ((x, state_weight(network, evidence, x)) for x in _all_states(network))
        self.base = [(x, w) for x, w in base if w]

    def factor(self, seen: Sighting, state: State, silent: int, parents: bool) -> Fraction:
        own = tuple(
            bool(state[p.variable] & p.mask) for p in self.network.events[seen.event].parents
        )
        key = (seen.event, seen.trials, own, silent, parents)
        if key not in self.known:
            self.known[key] = sighting_probability(
                self.network, seen, state, silent, parents=parents
            )
        return self.known[key]

    def joint(
        self,
        sightings: tuple[Sighting, ...],
        special: int = -1,
        silent: int = NOBODY,
        parents: bool = True,
    ) -> list[tuple[State, Fraction]]:
        """Return every state with its weight; sighting `special` with a condition on who fired."""
        found = []
        for x, weight in self.base:
            total = weight
            for n, seen in enumerate(sightings):
                if n == special:
                    total *= self.factor(seen, x, silent, parents)
                else:
                    total *= self.factor(seen, x, NOBODY, True)
            found.append((x, total))
        return found

    def total(self, *args: object, **kwargs: object) -> Fraction:
        """Return the sum of `joint`."""
        return sum((w for _, w in self.joint(*args, **kwargs)), start=Fraction(0))  # type: ignore[arg-type]


def odds(joint: list[tuple[State, Fraction]], variable: int, mask: int) -> Fraction | None:
    """Return present over absent, None where one of them is impossible."""
    present = sum((w for x, w in joint if x[variable] & mask), start=Fraction(0))
    absent = sum((w for x, w in joint if not x[variable] & mask), start=Fraction(0))
    return present / absent if present and absent else None


def moved(with_all: Fraction | None, without: Fraction | None) -> float:
    """Return the difference of log odds; 0 where a cause is certain."""
    return 0.0 if with_all is None or without is None else math.log(with_all / without)


def exact_numbers(network: Network, evidence: Evidence) -> dict[str, float]:
    """Return every number of a posterior under a readable name, unrounded."""
    exact = Exact(network, evidence)
    seen = evidence.sightings
    joint = exact.joint(seen)
    total = sum((w for _, w in joint), start=Fraction(0))
    found = {"log_evidence": float(_log(total))}
    for v, variable in enumerate(network.variables):
        for s in range(len(variable.prior)):
            share = sum((w for x, w in joint if x[v] == s), start=Fraction(0)) / total
            found[f"states/{v}/{s}"] = float(share)
    for n, one in enumerate(seen):
        without = exact.joint(seen[:n] + seen[n + 1 :])
        fewer = [
            exact.joint(
                (
                    *seen[:n],
                    replace(one, trials=one.trials[:t] + one.trials[t + 1 :]),
                    *seen[n + 1 :],
                )
            )
            for t in range(len(one.trials))
        ]
        found[f"sightings/{n}/leak_share"] = float(1 - exact.total(seen, n, LEAK) / total)
        found[f"sightings/{n}/leak_only"] = float(exact.total(seen, n, NOBODY, False) / total)
        for i, p in enumerate(network.events[one.event].parents):
            name = f"sightings/{n}/{i}"
            now = odds(joint, p.variable, p.mask)
            found[f"{name}/share"] = float(1 - exact.total(seen, n, i) / total)
            found[f"{name}/moved"] = moved(now, odds(without, p.variable, p.mask))
            for t, other in enumerate(fewer):
                found[f"{name}/trial/{t}"] = moved(now, odds(other, p.variable, p.mask))
    for r, ratio in enumerate(evidence.ratios):
        rest = replace(evidence, ratios=evidence.ratios[:r] + evidence.ratios[r + 1 :])
        other = Exact(network, rest).joint(seen)
        for t, (v, m) in enumerate(ratio.targets):
            found[f"ratios/{r}/{t}"] = moved(odds(joint, v, m), odds(other, v, m))
    return found


def _log(value: Fraction) -> float:
    return math.log(value.numerator) - math.log(value.denominator)


def engine_numbers(posterior: Posterior) -> dict[str, float]:
    """Return every number of a posterior of the engine under the names of `exact_numbers`."""
    found = {"log_evidence": posterior.log_evidence}
    for v, states in enumerate(posterior.states):
        found |= {f"states/{v}/{s}": p for s, p in enumerate(states)}
    for n, one in enumerate(posterior.sightings):
        if one is None:
            continue
        found[f"sightings/{n}/leak_share"] = one.leak_share
        found[f"sightings/{n}/leak_only"] = one.leak_only
        for i, parent in enumerate(one.parents):
            found[f"sightings/{n}/{i}/share"] = parent.share
            found[f"sightings/{n}/{i}/moved"] = parent.moved
            found |= {f"sightings/{n}/{i}/trial/{t}": m for t, m in enumerate(parent.trial_moved)}
    for r, ratio in enumerate(posterior.ratio_moved):
        found |= {f"ratios/{r}/{t}": m for t, m in enumerate(ratio)}
    return found


def largest_difference(a: dict[str, float], b: dict[str, float]) -> tuple[float, str]:
    """Return the largest difference of two answers and where it lies; the names must agree."""
    assert a.keys() == b.keys(), sorted(a.keys() ^ b.keys())
    return max((abs(a[k] - b[k]), k) for k in a)


Factor = tuple[tuple[int, ...], np.ndarray]
PRECISE = decimal.Context(prec=60, Emin=-999999, Emax=999999)


def wide_evidence(network: Network, evidence: Evidence) -> decimal.Decimal:
    """Return P(evidence) in 60 digits, by summing the product formula one axis at a time.

    Axes: two for each cause with sides, one for each other, one for each sighting and for each
    ratio of several targets. Always the axis next whose table is smallest.
    """
    with decimal.localcontext(PRECISE):
        factors = [*_prior_factors(network, evidence)]
        start = 2 * len(network.variables)
        for n, seen in enumerate(evidence.sightings):
            factors += _product_factors(network, seen, start + n)
        for n, ratio in enumerate(evidence.ratios):
            factors += _ratio_factors(ratio, start + len(evidence.sightings) + n)
        while any(scope for scope, _ in factors):
            factors = _sum_out(factors)
        total = decimal.Decimal(1)
        for _, value in factors:
            total *= value.item()
        return total


def _axis(variable: int, mask: int) -> int:
    return 2 * variable + (mask == 2)


def _prior_factors(network: Network, evidence: Evidence) -> Iterator[Factor]:
    dec = decimal.Decimal
    for v, variable in enumerate(network.variables):
        weights = [
            dec(p) * all(bool(s & f.mask) == f.present for f in evidence.fixed if f.variable == v)
            for s, p in enumerate(variable.prior)
        ]
        if variable.sided:
            cells = [[weights[0], weights[2]], [weights[1], weights[3]]]
            yield (2 * v, 2 * v + 1), np.array(cells, dtype=object)
        else:
            yield (2 * v,), np.array(weights, dtype=object)
    for absence in evidence.absences:
        for p in network.events[absence.event].parents:
            left = dec(1) - dec(min(p.strength * absence.scale, 0.98))
            yield (_axis(p.variable, p.mask),), np.array([dec(1), left], dtype=object)


def _product_factors(network: Network, seen: Sighting, axis: int) -> Iterator[Factor]:
    """Yield the factors of (1 - l + l w) prod (1 - s + s w) over all products of the trials."""
    dec = decimal.Decimal
    event = network.events[seen.event]
    choices = list(itertools.product(range(3), repeat=len(seen.trials)))
    leak = dec(seen.leak)
    plain = []
    for choice in choices:
        c = dec(1)
        for part, (_, report) in zip(choice, seen.trials, strict=True):
            gone, better, same = (dec(row[report]) for row in network.confusion)
            c *= (better, gone - better, same - better)[part]
        plain.append(c)

    def kept(persists: tuple[float, ...], choice: tuple[int, ...]) -> decimal.Decimal:
        w = dec(1)
        for part, (change, _) in zip(choice, seen.trials, strict=True):
            a = dec(persists[change])
            w *= (dec(1), 1 - a, a)[part]
        return w

    leaks = [1 - leak + leak * kept(event.leak_persists, c) for c in choices]
    weights = [c * w for c, w in zip(plain, leaks, strict=True)]
    yield (axis,), np.array([*weights, -(1 - leak) * sum(plain)], dtype=object)
    for p in event.parents:
        s = dec(min(p.strength * seen.scale, 0.98))
        present = [*(1 - s + s * kept(p.persists, c) for c in choices), 1 - s]
        cells = [[dec(1)] * len(present), present]
        yield (_axis(p.variable, p.mask), axis), np.array(cells, dtype=object)


def _ratio_factors(ratio: LikelihoodRatio, axis: int) -> Iterator[Factor]:
    dec = decimal.Decimal
    yield (axis,), np.array([dec(ratio.ratio), 1 - dec(ratio.ratio)], dtype=object)
    for v, m in ratio.targets:
        yield (_axis(v, m), axis), np.array([[dec(1), dec(1)], [dec(1), dec(0)]], dtype=object)


def _sum_out(factors: list[Factor]) -> list[Factor]:
    """Return the factors with the cheapest axis summed out."""
    sizes = {a: n for scope, cells in factors for a, n in zip(scope, cells.shape, strict=True)}

    def cost(axis: int) -> int:
        return math.prod(sizes[a] for a in {a for s, _ in factors if axis in s for a in s})

    axis = min(sorted(sizes), key=cost)
    touched = sorted((f for f in factors if axis in f[0]), key=lambda f: len(f[0]))
    scope = tuple(sorted({a for s, _ in touched for a in s}))
    product = np.array(decimal.Decimal(1), dtype=object)
    for own, cells in touched:
        moved_axes = np.transpose(cells, np.argsort(own))
        product = product * moved_axes.reshape([sizes[a] if a in own else 1 for a in scope])
    summed = np.asarray(product.sum(axis=scope.index(axis)), dtype=object)
    rest = [f for f in factors if axis not in f[0]]
    return [*rest, (tuple(a for a in scope if a != axis), summed)]
