"""The choice of a session: the true optimum of a small integer problem, by branch and bound.

Apart from how the problem is made because the search knows no drill and no client: it is held
against an independent solver and against plain enumeration.
Over 400 lines, because it is one class: every part of it changes the set in hand.

Why it is exact. Returns are concave, so what an option adds to a set never exceeds what it adds
to a part of that set, but for the rounding of the integer curve, which `slack` covers. So
value(set) + L * (seconds left) + the best few of (gain + slack - L * seconds) bounds every set
that can still grow from it, for any L >= 0 (L prices time, Fisher 1981). A branch is cut only
where its bound is below the best value found: equal values are followed to the end, for ties.
"""

from typing import TYPE_CHECKING, Literal

from service.engine.bounds import Lines
from service.engine.exchange import ENDS, PRACTISES
from service.engine.sequence import in_order
from service.engine.sums import Sums
from service.engine.table import Table, table_of
from service.model.choice import Choice, Problem

if TYPE_CHECKING:
    from mypy_extensions import i64

Key = tuple[tuple[int, int], ...]
"""A set as its sorted (drill, dose) pairs: of equal values the smallest is chosen."""

STAGES: tuple[tuple[int, int], ...] = ((120, 0), (1000, 10), (1 << 62, 40))
"""(nodes, steps spent on lines): a search that needs more nodes begins again, better bounded."""


def choose(problem: Problem) -> Choice:
    """Return the session of largest value within the limits; empty where nothing beats it.

    Value of a set: sum over causes of floor(weight * r(sum of effects) / 10^6), minus
    the price of each step, in millionths; r is floored between the points of the curve
    and flat beyond the last. Ties: the set whose sorted list of (drill, dose) is smallest, as
    Python compares tuples, so that a list comes before any longer one that begins with it.
    `chosen` is in the order of the session. Cost: with k steps at most n^(k-1) nodes of n steps
    each, in practice a few dozen.
    """
    return best_of(table_of(problem))


def best_of(table: Table) -> Choice:
    """Return the session of largest value of a problem that stands as a table already."""
    search = _Search(table)
    search.run()
    picked = in_order(table.problem, search.best_set)
    return Choice(
        chosen=picked, value=search.best_value, seconds=sum([table.seconds[c] for c in picked])
    )


class _Search:
    """One search: the set in hand, and the best set found.

    A candidate is one number that sorts best first: minus the bound of its gain net of time, and
    in the last `shift` bits the option. `fixed`, by option, is that bound and the exact gain
    together, so that either tells the other. Options may be more than a machine word has bits: a
    bit mask is never mixed with numbers of that kind.
    """

    def __init__(self, table: Table) -> None:
        limits = table.limits
        self.table = table
        self.shift = len(table.seconds).bit_length()
        self.last_bits: i64 = (1 << self.shift) - 1
        self.sums = Sums(table.parts, table.weights, table.curve)
        self.touch = table.touch
        self.seconds, self.conflict = table.seconds, table.conflict
        self.meets, self.raises = table.meets, table.raises
        self.ranges, self.news = table.ranges, table.news
        self.longest: i64 = max(table.seconds, default=0)
        self.holds, self.holding = table.holds, table.holding
        self.hold_s = limits.hold_s
        self.group = table.group
        self.alike = [0] * len(table.group)
        """By option the bits of those of its group, 0 until they are asked for."""
        self.fixed: list[int] = []
        self.dominators: list[int] = []
        """By option; empty until they are worth their making."""
        self.lines: Lines | None = None
        self.line = 0
        """Bound by the lines of the set in hand."""
        self.nodes: i64 = 0
        self.node_limit: i64 = 0
        self.price: i64 = table.problem.price
        self.price_of_time: i64 = 0
        self.held: dict[int, int] = {}
        self.range_left: i64 = limits.range_drills
        self.new_left: i64 = limits.new_drills
        self.picked: list[int] = []
        self.best_value = 0
        self.best_set: tuple[int, ...] = ()
        self.reach: i64 = 1
        """Value that a branch must be able to reach: the empty set already has 0."""

    def run(self) -> None:
        """Search from the empty set."""
        table = self.table
        limits = table.limits
        steps, seconds = limits.steps, limits.seconds
        if steps < 1:
            return
        want = ENDS | PRACTISES if limits.needs_practice else ENDS
        usable = table.usable(want)
        if not usable:
            return
        roots = self._roots(usable, 0)
        first = [candidate & self.last_bits for candidate in roots[:steps]]
        if sum([self.seconds[c] for c in first]) > seconds:
            roots = self._roots(usable, table.price_of_time(usable))
        for nodes, rounds in STAGES:
            self.nodes = 0
            self.node_limit = nodes
            candidates = roots
            if rounds:
                self._prepare(usable, rounds)
                candidates = self._within_lines(roots, seconds, steps, want)
            self._grow(candidates, 0, seconds, steps, want, 0, 0)
            if self.nodes <= self.node_limit:
                return

    def _roots(self, usable: list[int], price: int) -> list[int]:
        """Return the usable options as candidates, at such a price of a second from now on."""
        gains, slack, shift = self.table.gains, self.table.slack, self.shift
        self.price_of_time = price
        self.fixed = fixed = [price * s - slack[c] for c, s in enumerate(self.seconds)]
        return sorted([(fixed[c] - gains[c] << shift) + c for c in usable])

    def _prepare(self, usable: list[int], rounds: int) -> None:
        """Make the costlier bounds, from the best set found so far."""
        table = self.table
        if self.lines is not None:
            everyone = [(1 << len(self.seconds)) - 1] * len(self.seconds)
            self.dominators = table.dominators(everyone)
        for c in self.best_set:
            self.sums.count(c, 1)
        start = [int(cause.sum) for cause in self.sums.causes]
        for c in self.best_set:
            self.sums.count(c, -1)
        self.lines = Lines(
            table, self.sums, usable, [self._alike(c) for c in range(len(self.group))]
        )
        self.lines.aim(self.best_value, start, self.price_of_time, rounds)
        self.line = self.lines.base

    def _stopped(self, taken: int) -> int:
        """Return the bits of what the set in hand excludes, now that `taken` is in it.

        What earlier ones exclude is no candidate any more, but for the counts.
        """
        stopped = self.conflict[taken]
        if self.range_left < 1:
            stopped |= self.ranges
        if self.new_left < 1:
            stopped |= self.news
        for muscle, _ in self.holds[taken]:
            left = self.hold_s - self.held[muscle]
            for c, seconds in self.holding[muscle]:
                if seconds > left:
                    stopped |= 1 << c
        return stopped

    def _grow(
        self,
        candidates: list[int],
        value: "i64",
        seconds: "i64",
        steps: "i64",
        want: int,
        have: int,
        refused: int,
    ) -> None:
        """Try every set that adds at least one candidate to the set in hand.

        A branch takes one candidate and refuses those before it; `refused` holds the refused
        ones as bits.
        """
        self.nodes += 1
        dominators = self.dominators
        spare: i64 = value + self.price_of_time * seconds
        count: i64 = len(candidates)
        at: i64 = 0
        while at < count:
            candidate: i64 = candidates[at]
            net: i64 = candidate >> self.shift
            # none of the others adds more than this one does
            if spare - (net * steps if net < 0 else net) < self.reach:
                return
            option: int = candidate & self.last_bits
            rest, rest_less = self._best_after(candidates, at, steps - 1)
            if spare - net + rest < self.reach or self.nodes > self.node_limit:
                return
            bit = 1 << option
            if dominators and dominators[option] & refused:
                refused |= bit
                at += 1
                continue
            wants = want | self.raises[option]
            has = have | self.meets[option]
            missing = wants & ~has
            grown: i64 = value - net + self.fixed[option]
            if not missing and grown >= self.reach:
                self._offer(grown, option)
            if steps > 1 and not (
                missing and self._out_of_reach(candidates, at, missing, spare - net + rest_less)
            ):
                self._count(option, 1)
                left: i64 = seconds - self.seconds[option]
                if steps == 2:
                    self._finish(candidates, at, grown, left, wants, has)
                else:
                    fewer = self._narrow(candidates, at, grown, left, rest_less, refused)
                    fewer = self._within_lines(fewer, left, steps - 1, missing)
                    self._grow(fewer, grown, left, steps - 1, wants, has, refused)
                self._count(option, -1)
            refused |= bit
            at += 1

    def _best_after(self, candidates: list[int], at: "i64", steps: "i64") -> "tuple[i64, i64]":
        """Return bounds of what `steps`, and one fewer, of the candidates after `at` can add.

        Best first, at most one of each group, none that lowers the sum, as `Lines.best_few`.
        """
        total: i64 = 0
        less: i64 = 0
        if steps < 1:
            return total, less
        ranges = self.ranges
        first: int = candidates[at] & self.last_bits
        taken = self._alike(first)
        left: i64 = self.range_left
        if ranges >> first & 1:
            left -= 1
        if left < 1:
            taken |= ranges
        count: i64 = len(candidates)
        while True:
            at += 1
            if at == count:
                return total, total
            candidate: i64 = candidates[at]
            if candidate >= 0:
                return total, total
            option: int = candidate & self.last_bits
            if taken >> option & 1:
                continue
            less = total
            total -= candidate >> self.shift
            steps -= 1
            if not steps:
                return total, less
            taken |= self._alike(option)
            if ranges >> option & 1:
                left -= 1
                if left < 1:
                    taken |= ranges

    def _alike(self, option: int) -> int:
        """Return the bits of the options of the same group, which all exclude each other."""
        alike = self.alike[option]
        if not alike:
            group, groups = self.group[option], self.group
            alike = 1 << option
            others = self.conflict[option] & ~alike
            while others:
                low = others & -others
                others ^= low
                if groups[low.bit_length() - 1] == group:
                    alike |= low
            self.alike[option] = alike
        return alike

    def _out_of_reach(self, candidates: list[int], at: "i64", missing: int, spare: "i64") -> bool:
        """Say if something missing is met by no candidate after `at`, or by none worth it."""
        meets = self.meets
        count: i64 = len(candidates)
        at += 1
        while at < count:
            candidate: i64 = candidates[at]
            met = meets[candidate & self.last_bits]
            if met & missing:
                if spare - (candidate >> self.shift) < self.reach:
                    return True
                missing &= ~met
                if not missing:
                    return False
            at += 1
        return True

    def _narrow(
        self,
        candidates: list[int],
        at: "i64",
        value: "i64",
        seconds: "i64",
        rest: "i64",
        refused: int,
    ) -> list[int]:
        """Return the candidates after `at` that the set in hand can still take with profit.

        `rest` bounds what the other steps add. Gains are exact again on return.
        """
        last_bits, shift = self.last_bits, self.shift
        lengths, touch, fixed, sums = self.seconds, self.touch, self.fixed, self.sums
        dominators = self.dominators
        taken: int = candidates[at] & last_bits
        stopped, touched = self._stopped(taken), touch[taken]
        cut: i64 = value + self.price_of_time * seconds + rest - self.reach
        tight = seconds < self.longest
        kept: list[int] = []
        count: i64 = len(candidates)
        at += 1
        while at < count:
            candidate: i64 = candidates[at]
            at += 1
            if candidate >> shift > cut:
                break
            option: int = candidate & last_bits
            if stopped >> option & 1 or (tight and lengths[option] > seconds):
                continue
            if dominators and dominators[option] & refused:
                continue
            if touch[option] & touched:
                net: i64 = self.price - sums.gain(option)
                net += fixed[option]
                if net > cut:
                    continue
                candidate = (net << shift) + option
            kept.append(candidate)
        kept.sort()
        return kept

    def _within_lines(
        self, candidates: list[int], seconds: int, steps: int, missing: int
    ) -> list[int]:
        """Return those candidates that can still be part of a best set, as the lines bound it."""
        lines = self.lines
        if lines is None:
            return candidates
        # what the lines say has no bound of its own, so that it is held in plain integers
        reach: int = self.reach
        last_bits: int = self.last_bits
        nets, meets = lines.net, self.meets
        spare = self.line + lines.price * seconds
        options = [candidate & last_bits for candidate in candidates]
        rows = sorted([(nets[c] << self.shift) + c for c in options], reverse=True)
        rest, picked = lines.best_few(rows, steps, self.range_left)
        if len(picked) == steps:
            rest -= nets[picked[-1]]
        first = missing & -missing
        if first:
            needed = max([nets[c] for c in options if meets[c] & first], default=None)
            if needed is None or spare + rest + needed < reach:
                return []
        least = reach - spare - rest
        return [candidates[n] for n, c in enumerate(options) if nets[c] >= least]

    def _finish(
        self,
        candidates: list[int],
        at: "i64",
        value: "i64",
        seconds: "i64",
        want: int,
        have: int,
    ) -> None:
        """Offer every set that adds exactly one candidate after `at` to the set in hand."""
        last_bits, shift = self.last_bits, self.shift
        lengths, meets, raises = self.seconds, self.meets, self.raises
        touch, fixed, sums = self.touch, self.fixed, self.sums
        taken: int = candidates[at] & last_bits
        stopped, touched = self._stopped(taken), touch[taken]
        worths = self.lines.worth if self.lines is not None else None
        reach: int = self.reach
        least = reach - self.line
        missing = want & ~have
        tight = seconds < self.longest
        spare: i64 = value + self.price_of_time * seconds
        count: i64 = len(candidates)
        at += 1
        while at < count:
            candidate: i64 = candidates[at]
            at += 1
            net: i64 = candidate >> shift
            if spare - net < self.reach:
                return
            option: int = candidate & last_bits
            if stopped >> option & 1 or (tight and lengths[option] > seconds):
                continue
            raised = raises[option]
            if (missing or raised) and (missing | (raised & ~have)) & ~meets[option]:
                continue
            if worths is not None and worths[option] < least:
                continue
            if touch[option] & touched:
                grown: i64 = value - self.price + sums.gain(option)
            else:
                grown = value - net + fixed[option]
            if grown >= self.reach:
                self._offer(grown, option)

    def _offer(self, value: int, last: int) -> None:
        """Keep the set in hand with `last` where it is better, or equal and first by key."""
        chosen = (*self.picked, last)
        if value > self.best_value or self._key(chosen) < self._key(self.best_set):
            self.best_value = self.reach = value
            self.best_set = chosen

    def _key(self, chosen: tuple[int, ...]) -> Key:
        options = self.table.options
        return tuple(sorted([(options[c].drill, options[c].dose) for c in chosen]))

    def _count(self, option: int, sign: Literal[1, -1]) -> None:
        """Take the option into the set in hand as its last, or out of it."""
        if sign > 0:
            self.picked.append(option)
        else:
            self.picked.pop()
        self.sums.count(option, sign)
        if self.lines is not None:
            self.line += sign * self.lines.worth[option]
        for muscle, held in self.holds[option]:
            self.held[muscle] = self.held.get(muscle, 0) + sign * held
        if self.ranges >> option & 1:
            self.range_left -= sign
        if self.news >> option & 1:
            self.new_left -= sign
