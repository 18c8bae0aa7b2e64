"""Sums over one connected part whose terms have few combinations of products, in plain lists.

Apart from elimination over arrays because on short lists loops are several times faster than array
operations, which cost the same whatever their size; the sums are the same.
"""

import math
from typing import TYPE_CHECKING

from service.engine.infer_cells import Weights, onto, outer, spread, times
from service.engine.infer_terms import Pair, Solved, Term, divided, two_sums

if TYPE_CHECKING:
    from mypy_extensions import i64

SAFE = 1e4
"""Bound of a part's condition up to which it is not worked out."""


class _Touched:
    """A variable in its group, in lists by combination.

    `bit` is the first bit that is touched, `firsts` the products of its factors. Where no term
    touches the other one, `sums` are the weights without and with the first, and there are no
    `seconds`; else they are the four state weights. `each` is the sum over its states, `before`
    the product of those of all earlier ones (empty for the first). `places` and `other_places`
    are where the bits stand in each term of the group, -1 for nowhere.
    """

    def __init__(self, bit: int, sums: Weights, before: Weights) -> None:
        self.bit = bit
        self.sums = sums
        self.before = before
        self.each: Weights = []
        self.places: list[int] = []
        self.firsts: Weights = []
        self.other_places: list[int] = []
        self.seconds: Weights = []


class _Group:
    """The variables that the same terms touch, in lists by combination of those terms' products.

    The last of the terms in `scope` (as bits of one number: `mask`) varies fastest.
    """

    def __init__(self, mask: int, scope: list[int]) -> None:
        self.mask = mask
        self.scope = scope
        self.touched: list[_Touched] = []
        self.whole: Weights = []


class _Bucket:
    """The tables multiplied when one term was summed out, spread over the terms in `scope`.

    `before` are the products of those before each table, empty for the first; `message` is the
    place of what was left among the tables.
    """

    def __init__(self, term: int, scope: list[int], tables: list[int], message: int) -> None:
        self.term = term
        self.scope = scope
        self.tables = tables
        self.message = message
        self.wide: list[Weights] = []
        self.before: list[Weights] = []
        self.product: Weights = []


def solve_lists(terms: list[Term], weights: dict[int, Weights]) -> Solved:
    """Return the sums of a part; `weights` has the four state weights of each of its variables."""
    return _Sums(terms, weights).solved()


class _Sums:
    """One run. Up: variables, then terms are summed out; down: each gets what the others add up to.

    Nothing is divided on the way, so that a state or a factor of 0 does no harm. `inner` is by
    term what the variables that it alone touches add up to.
    """

    def __init__(self, terms: list[Term], weights: dict[int, Weights]) -> None:
        self.terms = terms
        self.weights = weights
        self.sizes = [len(term.weights) for term in terms]
        self.ones = [[1.0] * size for size in self.sizes]
        self.inner = list(self.ones)
        self.groups: list[_Group] = []
        self.private: list[_Group] = []
        self.masks: list[int] = []
        self.pairs: list[Pair] = [
            [[[] for _ in term.bits], [[] for _ in term.bits]] for term in terms
        ]
        self.states: dict[int, Weights] = {}

    def solved(self) -> Solved:
        """Return the sums."""
        self._sum_variables()
        signed = [times(term.weights, self.inner[t]) for t, term in enumerate(self.terms)]
        buckets, total = self._up(signed)
        self._down(buckets, signed)
        if total <= 0.0:
            return Solved(self.pairs, self.states, -math.inf, math.inf)
        condition = _bound(self.terms)
        if condition > SAFE:
            condition = self._up([[abs(w) for w in own] for own in signed])[1] / total
        return Solved(self.pairs, self.states, math.log(total), condition)

    def _sum_variables(self) -> None:
        """Put each variable into the group of the terms that touch it, and sum it out there."""
        touching: dict[int, int] = {}
        places: dict[int, list[int]] = {}
        for t, term in enumerate(self.terms):
            for i, bit in enumerate(term.bits):
                if bit in touching:
                    touching[bit] |= 1 << t
                    places[bit].append(i)
                else:
                    touching[bit] = 1 << t
                    places[bit] = [i]
        found: dict[int, _Group] = {}
        for variable, four in self.weights.items():
            left, right = touching.get(2 * variable, 0), touching.get(2 * variable + 1, 0)
            mask = left | right
            group = found.get(mask)
            if group is None:
                scope = [t for t in range(len(self.terms)) if mask >> t & 1]
                group = found[mask] = _Group(mask, scope)
                (self.groups if len(scope) > 1 else self.private).append(group)
            bit = 2 * variable + (not left)
            both = left > 0 and right > 0
            touched = _Touched(bit, four if both else two_sums(four, bit), group.whole)
            group.touched.append(touched)
            touched.places = _by_term(group.scope, left or right, places[bit])
            touched.firsts = self._factors(group.scope, touched.places)
            if both:
                touched.other_places = _by_term(group.scope, right, places[bit + 1])
                touched.seconds = self._factors(group.scope, touched.other_places)
            touched.each = _summed_out(touched)
            group.whole = times(group.whole, touched.each)
        for group in self.private:
            self.inner[group.scope[0]] = group.whole

    def _factors(self, scope: list[int], places: list[int]) -> Weights:
        """Return the products of the factors of one bit by combination."""
        return outer(
            [
                self.terms[t].factor[places[p]] if places[p] >= 0 else self.ones[t]
                for p, t in enumerate(scope)
            ]
        )

    def _up(self, signed: list[Weights]) -> tuple[list[_Bucket], float]:
        """Sum out all terms, the smallest table first; return the buckets and the sum."""
        masks = [group.mask for group in self.groups]
        tables = [group.whole for group in self.groups]
        waiting = list(range(len(masks)))
        left = list(range(len(self.terms)))
        buckets: list[_Bucket] = []
        while True:
            term, mask = self._next(left, [masks[n] for n in waiting])
            scope = [t for t in left if mask >> t & 1]
            left.remove(term)
            own = [n for n in waiting if masks[n] >> term & 1]
            waiting = [n for n in waiting if not masks[n] >> term & 1]
            bucket = _Bucket(term, scope, own, len(masks))
            buckets.append(bucket)
            product: Weights = []
            for n in own:
                wide = spread(tables[n], masks[n], scope, self.sizes)
                bucket.wide.append(wide)
                bucket.before.append(product)
                product = times(product, wide)
            bucket.product = product or self.ones[term]
            mask ^= 1 << term
            message = onto(bucket.product, mask, scope, self.sizes, signed)
            masks.append(mask)
            tables.append(message)
            if not left:
                self.masks = masks
                return buckets, message[0]
            waiting.append(len(masks) - 1)

    def _next(self, left: list[int], masks: list[int]) -> tuple[int, int]:
        """Return the term with the smallest table next, and the terms of that table."""
        best = least = found = 0
        for t in left:
            mask = 1 << t
            for other in masks:
                if other >> t & 1:
                    mask |= other
            cells = 1
            for o in left:
                if mask >> o & 1:
                    cells *= self.sizes[o]
            if not least or cells < least:
                best, least, found = t, cells, mask
        return best, found

    def _down(self, buckets: list[_Bucket], signed: list[Weights]) -> None:
        """Hand down to each table what all others add up to, and read each group."""
        masks = self.masks
        above: list[Weights] = [[] for _ in masks]
        outside = list(self.ones)
        for bucket in reversed(buckets):
            scope = bucket.scope
            after: Weights = []
            if len(scope) > 1:
                message = bucket.message
                after = spread(above[message], masks[message], scope, self.sizes)
            whole = times(bucket.product, after)
            outside[bucket.term] = onto(whole, 1 << bucket.term, scope, self.sizes, signed)
            for n in range(len(bucket.tables) - 1, -1, -1):
                place = bucket.tables[n]
                others = times(bucket.before[n], after) or [1.0] * len(whole)
                above[place] = onto(others, masks[place], scope, self.sizes, signed)
                after = times(bucket.wide[n], after)
        for group in self.private:
            self._read(group, outside[group.scope[0]], self.ones, signed)
        for n, group in enumerate(self.groups):
            self._read(group, above[n], self.inner, signed)

    def _read(
        self, group: _Group, outside: Weights, inner: list[Weights], signed: list[Weights]
    ) -> None:
        """Keep the pairs and states of a group's variables; `outside` is all that is not in it."""
        scope = group.scope
        # the weights of all terms of the group but one
        apart = [outer([self.ones[o] if o == t else signed[o] for o in scope]) for t in scope]
        after = outside
        for touched in reversed(group.touched):
            others = times(after, touched.before)
            inside: i64 = 1
            for p in range(len(scope) - 1, -1, -1):
                t = scope[p]
                if touched.seconds:
                    self._read_both(touched, p, t, inside, others, apart[p], inner[t])
                else:
                    self._read_one(touched, p, t, inside, others, apart[p], inner[t])
                inside *= self.sizes[t]
            after = times(after, touched.each)

    def _read_one(
        self,
        touched: _Touched,
        p: int,
        t: int,
        inside: "i64",
        others: Weights,
        apart: Weights,
        inner: Weights,
    ) -> None:
        """Keep what one term says of a variable with one bit touched."""
        none, one = touched.sums
        factors = touched.firsts
        first: i64 = 0
        count: i64 = len(others)
        step: i64 = inside * len(inner)
        absent: Weights = []
        present: Weights = []
        nones = ones = 0.0
        for k, weight in enumerate(self.terms[t].weights):
            a = b = 0.0
            start = first
            while start < count:
                for at in range(start, start + inside):
                    value = others[at] * apart[at]
                    a += value
                    b += value * factors[at]
                start += step
            first += inside
            a *= none * inner[k]
            b *= one * inner[k]
            absent.append(a)
            present.append(b)
            nones += a * weight
            ones += b * weight
        pair, place = self.pairs[t], touched.places[p]
        pair[0][place] = absent
        pair[1][place] = present
        if p == 0:
            bit = touched.bit
            self.states[bit >> 1] = divided(self.weights[bit >> 1], bit, nones, ones)

    def _read_both(
        self,
        touched: _Touched,
        p: int,
        t: int,
        inside: "i64",
        others: Weights,
        apart: Weights,
        inner: Weights,
    ) -> None:
        """Keep what one term says of a variable with both bits touched."""
        none, left, right, both = touched.sums
        on_left, on_right = touched.firsts, touched.seconds
        first: i64 = 0
        count: i64 = len(others)
        step: i64 = inside * len(inner)
        no_left: Weights = []
        has_left: Weights = []
        no_right: Weights = []
        has_right: Weights = []
        nones = lefts = rights = boths = 0.0
        for k, weight in enumerate(self.terms[t].weights):
            a = b = c = d = 0.0
            start = first
            while start < count:
                for at in range(start, start + inside):
                    value = others[at] * apart[at]
                    factor = on_right[at]
                    a += value
                    c += value * factor
                    value *= on_left[at]
                    b += value
                    d += value * factor
                start += step
            first += inside
            own = inner[k]
            a *= none * own
            b *= left * own
            c *= right * own
            d *= both * own
            no_left.append(a + c)
            has_left.append(b + d)
            no_right.append(a + b)
            has_right.append(c + d)
            nones += a * weight
            lefts += b * weight
            rights += c * weight
            boths += d * weight
        absent, present = self.pairs[t]
        i, j = touched.places[p], touched.other_places[p]
        if i >= 0:
            absent[i] = no_left
            present[i] = has_left
        if j >= 0:
            absent[j] = no_right
            present[j] = has_right
        if p == 0:
            self.states[touched.bit >> 1] = [nones, lefts, rights, boths]


def _by_term(scope: list[int], touching: int, places: list[int]) -> list[int]:
    """Return the places of a bit by term of a scope; `places` are those in the terms touching."""
    found = []
    n = 0
    for t in scope:
        if touching >> t & 1:
            found.append(places[n])
            n += 1
        else:
            found.append(-1)
    return found


def _summed_out(touched: _Touched) -> Weights:
    """Return the sum over the states of a variable by combination."""
    seconds = touched.seconds
    if not seconds:
        none, one = touched.sums
        return [none + one * factor for factor in touched.firsts]
    none, left, right, both = touched.sums
    return [
        none + left * factor + (right + both * factor) * seconds[k]
        for k, factor in enumerate(touched.firsts)
    ]


def _bound(terms: list[Term]) -> float:
    """Return what the condition is where no cause is present, which is where it is worst."""
    bound = 1.0
    for term in terms:
        total = size = 0.0
        for weight in term.weights:
            total += weight
            size += abs(weight)
        if total <= 0.0:
            return math.inf
        bound *= size / total
    return bound
