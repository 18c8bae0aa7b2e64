"""Sums over one connected part by elimination: small tables, passed up once and down once.

Apart from the sums in lists because over wide tables an array operation outruns any loop.
The method is a junction tree (Lauritzen and Spiegelhalter 1988) over bits and terms, with one
twist: a term's own weights are multiplied in only where its axis is summed out, so that what
comes down still answers for any other weights, such as those without a trial.
"""

import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.engine.infer_cells import Weights
from service.engine.infer_order import Part, Private
from service.engine.infer_terms import Solved, Term, divided, two_sums
from service.model.records import Leaf

Floats: TypeAlias = NDArray[np.float64]

SMALLEST = 1e-290
"""Floor of a message, whose largest cell lies in [0.5, 1): never divide by zero."""

MANY = 4
"""Products of a term beyond which one multiplication of the whole table is the faster sum."""

Scope = tuple[int, ...]


class _Table(Leaf, frozen=True, kw_only=True):
    """Axes are nodes in the order of summing out; `child` is the node it came from, if any."""

    scope: Scope
    cells: Floats
    child: int = -1


class _Alone(Leaf, frozen=True, kw_only=True):
    """The private variables of one term; arrays of (variables, products), weights in columns.

    `left` and `right` are the factors with that bit present, `each` the sum over all states.
    """

    own: list[Private]
    weights: Floats
    left: Floats
    right: Floats
    each: Floats


class _Bucket(Leaf, frozen=True, kw_only=True):
    """All that was multiplied when one node was summed out."""

    scope: Scope
    product: Floats
    messages: tuple[_Table, ...]


def solve_tables(
    terms: list[Term], weights: dict[int, Weights], part: Part, order: tuple[int, ...]
) -> Solved:
    """Return the sums of a part along an order of its nodes."""
    return _Elimination(terms, weights, part, order).solved()


class _Elimination:
    """One run: `up` leaves a bucket for each node, `down` reads them in reverse."""

    def __init__(
        self, terms: list[Term], weights: dict[int, Weights], part: Part, order: tuple[int, ...]
    ) -> None:
        self.terms = terms
        self.term_weights = [np.array(t.weights) for t in terms]
        self.factors = [np.array(t.factor) for t in terms]
        self.weights = weights
        self.part = part
        self.order = order
        self.place = [0] * len(order)
        for place, node in enumerate(order):
            self.place[node] = place
        self.pairs = [np.empty((2, *f.shape)) for f in self.factors]
        self.states: dict[int, Weights] = {}
        self.log_total = 0.0
        self.waiting: list[list[_Table]] = [[] for _ in order]
        self.edges: list[list[tuple[int, int, int]]] = [[] for _ in order]
        self.alone: dict[int, _Alone] = {}
        self.couples: list[list[tuple[int, int]]] = [[] for _ in order]

    def solved(self) -> Solved:
        """Return the sums; the states of a variable with one bit follow from that bit."""
        self._lay_out()
        buckets = self._up()
        self._down(buckets)
        for term, row, node in self.part.edges:
            bit = self.part.bits[node - len(self.terms)]
            if bit >> 1 not in self.states:
                self.states[bit >> 1] = self._one_sided(term, row, bit)
        return Solved([pair.tolist() for pair in self.pairs], self.states, self.log_total, 0.0)

    def _lay_out(self) -> None:
        """Put every factor where the first of its nodes is summed out."""
        private: dict[int, list[Private]] = {}
        for one in self.part.private:
            private.setdefault(one.term, []).append(one)
        for term in sorted(private):
            self.alone[term] = alone = self._private(term, private[term])
            each = np.multiply.reduce(alone.each, axis=0)
            self.waiting[term].append(_Table(scope=(term,), cells=each))
        columns = [np.ones((2, *factor.shape)) for factor in self.factors]
        for column, factor in zip(columns, self.factors, strict=True):
            column[1] = factor
        for term, row, node in self.part.edges:
            column = columns[term][:, row]
            first = term if self.place[term] < self.place[node] else node
            self.edges[first].append((term, row, node))
            scope, cells = ((term, node), column.T) if first == term else ((node, term), column)
            self.waiting[first].append(_Table(scope=scope, cells=cells))
        paired: set[int] = set()
        for left, right in self.part.coupled:
            w = self.weights[self.part.bits[left - len(self.terms)] >> 1]
            cells = np.array([[w[0], w[2]], [w[1], w[3]]])
            first, last = sorted((left, right), key=self.place.__getitem__)
            self.couples[first].append((left, right))
            self.waiting[first].append(
                _Table(scope=(first, last), cells=cells if first == left else cells.T)
            )
            paired.update((left, right))
        for n, bit in enumerate(self.part.bits):
            node = len(self.terms) + n
            if node not in paired:
                w = self.weights[bit >> 1]
                absent, present = two_sums(w, bit)
                self.waiting[node].append(_Table(scope=(node,), cells=np.array([absent, present])))

    def _private(self, term: int, own: list[Private]) -> _Alone:
        """Sum out the private variables of a term."""
        own_factor = self.factors[term]
        factor = np.concatenate([own_factor, np.ones((1, own_factor.shape[1]))])
        weights = np.array([self.weights[p.variable] for p in own]).T[:, :, None]
        left = factor[[p.left for p in own]]
        right = factor[[p.right for p in own]]
        each = weights[0] + weights[1] * left + (weights[2] + weights[3] * left) * right
        return _Alone(own=own, weights=weights, left=left, right=right, each=each)

    def _read_private(self, term: int, outside: Floats) -> None:
        """Keep pairs and states of a term's private variables; `outside` is by product."""
        alone = self.alone[term]
        # by state: none, left, right, both
        states = outside / alone.each * alone.weights
        states[1] *= alone.left
        states[2] *= alone.right
        states[3] *= alone.left
        states[3] *= alone.right
        pairs = self.pairs[term]
        on_left = [n for n, p in enumerate(alone.own) if p.left >= 0]
        on_right = [n for n, p in enumerate(alone.own) if p.right >= 0]
        if on_left:
            by_left = states[:2] + states[2:]
            pairs[:, [alone.own[n].left for n in on_left]] = by_left[:, on_left]
        if on_right:
            by_right = states[::2] + states[1::2]
            pairs[:, [alone.own[n].right for n in on_right]] = by_right[:, on_right]
        weight = self.term_weights[term]
        sums = np.add.reduce(states * weight, axis=2)
        for private, four in zip(alone.own, sums.T.tolist(), strict=True):
            self.states[private.variable] = four

    def _up(self) -> dict[int, _Bucket]:
        """Sum out every node in order; the message goes to the next of its axes."""
        buckets = {}
        for node in self.order:
            tables = sorted(self.waiting[node], key=lambda t: (t.cells.size, t.scope))
            scope = tuple(
                sorted({n for t in tables for n in t.scope} | {node}, key=self.place.__getitem__)
            )
            product = self._spread(tables[0], scope)
            for table in tables[1:]:
                product = product * self._spread(table, scope)
            buckets[node] = _Bucket(
                scope=scope,
                product=product,
                messages=tuple(t for t in tables if t.child >= 0),
            )
            cells = self._summed(product, 0, node)
            largest = float(np.maximum.reduce(cells, axis=None))
            if len(scope) == 1:
                self.log_total += math.log(largest) if largest > 0 else -math.inf
                continue
            exponent = math.frexp(largest)[1]
            self.log_total += exponent * math.log(2)
            cells = np.maximum(cells * 2.0**-exponent, SMALLEST)
            self.waiting[scope[1]].append(_Table(scope=scope[1:], cells=cells, child=node))
        return buckets

    def _down(self, buckets: dict[int, _Bucket]) -> None:
        """Multiply in what comes from above, read the pairs, and hand down to each child."""
        above: dict[int, Floats] = {}
        for node in reversed(self.order):
            bucket = buckets.pop(node)
            full = bucket.product
            if node in above:
                full = full * above.pop(node)
            known = {bucket.scope: full}
            self._read(node, known, bucket.scope)
            for message in bucket.messages:
                down = self._onto(known, bucket.scope, message.scope)
                exponent = math.frexp(float(np.maximum.reduce(down, axis=None)))[1]
                above[message.child] = down * 2.0**-exponent / message.cells

    def _read(self, node: int, known: dict[Scope, Floats], scope: Scope) -> None:
        """Keep the pairs of (term, bit) and the states that this bucket holds."""
        edges = self.edges[node]
        if node in self.alone:
            self._read_private(node, self._onto(known, scope, (node,)))
        if node < len(self.terms) and edges:
            keep = (node, *sorted((n for _, _, n in edges), key=self.place.__getitem__))
            known, scope = {keep: self._onto(known, scope, keep)}, keep
        for term, row, bit in edges:
            keep = (term, bit) if term == node else (bit, term)
            cells = self._onto(known, scope, keep)
            self.pairs[term][:, row] = cells.T if term == node else cells
        for left, right in self.couples[node]:
            first = (left, right) if node == left else (right, left)
            cells = self._onto(known, scope, first)
            (none, second), (this, both) = cells.tolist()
            variable = self.part.bits[left - len(self.terms)] >> 1
            self.states[variable] = (
                [none, this, second, both] if node == left else [none, second, this, both]
            )

    def _onto(self, known: dict[Scope, Floats], scope: Scope, keep: Scope) -> Floats:
        """Sum out all axes of a known table but `keep`, first axes first.

        What is on the way stays known: several sums of one table begin alike.
        """
        cells, left, axis = known[scope], scope, 0
        for node in scope:
            if node in keep:
                axis += 1
                continue
            left = left[:axis] + left[axis + 1 :]
            found = known.get(left)
            if found is None:
                found = known[left] = self._summed(cells, axis, node)
            cells = found
        return cells

    def _summed(self, cells: Floats, axis: int, node: int) -> Floats:
        """Sum out the axis of a node, a term's with its weights."""
        first = cells.swapaxes(0, axis) if axis == 1 else cells
        if axis > 1:
            first = cells.transpose(axis, *range(axis), *range(axis + 1, cells.ndim))
        summed: Floats
        if node >= len(self.terms):
            summed = first[0] + first[1]
            return summed
        weights = self.terms[node].weights
        if MANY < len(weights) < cells.size:
            # laid out so that products are added one after the other, as below
            wide = self.term_weights[node].reshape(-1, *(1,) * (cells.ndim - 1))
            summed = np.add.reduce(np.multiply(first, wide, order="C"), axis=0)
            return summed
        summed = first[0] * weights[0]
        for k in range(1, len(weights)):
            summed = summed + first[k] * weights[k]
        return summed

    def _spread(self, table: _Table, scope: Scope) -> Floats:
        """Return the table with an axis for every node of the scope."""
        if table.scope == scope:
            return table.cells
        sizes = self.part.sizes
        own = table.scope
        return table.cells.reshape([sizes[n] if n in own else 1 for n in scope])

    def _one_sided(self, term: int, row: int, bit: int) -> Weights:
        """Return state weights where only one bit was touched: the other follows its prior."""
        weights = self.weights[bit >> 1]
        cells = np.add.reduce(self.pairs[term][:, row] * self.term_weights[term], axis=1).tolist()
        return divided(weights, bit, cells[0], cells[1])
