"""The choice of a session: the true optimum of a small integer problem, by branch and bound.

Apart from how the problem is made because the search knows no drill and no client: it is held
against an independent solver and against plain enumeration.

Why it is exact. Returns are concave, so what an option adds to a set never exceeds what it adds
to a part of that set, but for the rounding of the integer curve, which `slack` covers. So
value(set) + L * (seconds left) + the best few of (gain + slack - L * seconds) bounds every set
that can still grow from it, for any L >= 0 (L prices time, Fisher 1981). A branch is cut only
where its bound is below the best value found: equal values are followed to the end, for ties.
"""

from typing import Literal

from service.engine.bounds import Lines, best_few
from service.engine.exchange import ENDS, PRACTISES, returns
from service.engine.sequence import in_order
from service.engine.table import Table, table_of
from service.model.choice import Choice, Problem
from service.model.quantities import MICRO

Key = tuple[tuple[int, int], ...]
"""A set as its sorted (drill, dose) pairs: of equal values the smallest is chosen."""
Candidate = tuple[int, int, int]
"""(minus the bound of its gain net of time, option, exact gain): sorts best first."""

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
    problem = table.problem
    search = _Search(table)
    search.run()
    picked = in_order(problem, search.best_set)
    return Choice(
        chosen=picked,
        value=search.best_value,
        seconds=sum(problem.options[c].seconds for c in picked),
    )


class _Search:
    """One search: the set in hand, and the best set found."""

    def __init__(self, table: Table) -> None:
        problem = table.problem
        limits = problem.limits
        self.table = table
        self.problem = problem
        self.limits = limits
        self.options = problem.options
        self.weights = problem.weights
        self.curve = problem.curve
        self.parts, self.touch, self.slack = table.parts, table.touch, table.slack
        self.seconds, self.group, self.conflict = table.seconds, table.group, table.conflict
        self.meets, self.raises = table.meets, table.raises
        self.ranges, self.news = table.ranges, table.news
        self.holds, self.holding = table.holds, table.holding
        self.known: list[dict[int, int]] = [{0: 0} if w > 0 else {} for w in problem.weights]
        self.dominators = [0] * len(problem.options)
        self.lines: Lines | None = None
        self.line = 0
        """Bound by the lines of the set in hand."""
        self.nodes = 0
        self.node_limit = 0
        self.price_of_time = 0
        self.sums = [0] * len(problem.weights)
        self.now = [0] * len(problem.weights)
        self.held: dict[int, int] = {}
        self.range_left = limits.range_drills
        self.new_left = limits.new_drills
        self.picked: list[int] = []
        self.best_value = 0
        self.best_set: tuple[int, ...] = ()
        self.reach = 1
        """Value that a branch must be able to reach: the empty set already has 0."""

    def run(self) -> None:
        """Search from the empty set."""
        limits = self.limits
        if limits.steps < 1:
            return
        want = ENDS | PRACTISES if limits.needs_practice else ENDS
        usable = self.table.usable(want)
        gains = [self.table.gains[c] for c in usable]
        self.price_of_time = self.table.price_of_time_for(usable, gains)
        price, slack, seconds = self.price_of_time, self.slack, self.seconds
        roots = sorted(
            (price * seconds[c] - g - slack[c], c, g) for c, g in zip(usable, gains, strict=True)
        )
        for nodes, rounds in STAGES:
            self.nodes, self.node_limit = 0, nodes
            candidates = roots
            if rounds:
                self._prepare(usable, rounds)
                candidates = self._within_lines(roots, limits.seconds, limits.steps, want)
            self._grow(candidates, 0, limits.seconds, limits.steps, want, 0, 0)
            if self.nodes <= nodes:
                return

    def _prepare(self, usable: list[int], rounds: int) -> None:
        """Make the costlier bounds, from the best set found so far."""
        if self.lines is not None:
            everyone = [(1 << len(self.options)) - 1] * len(self.options)
            self.dominators = self.table.dominators(everyone)
        sums = [0] * len(self.weights)
        for c in self.best_set:
            for i, effect in self.parts[c]:
                sums[i] += effect
        self.lines = Lines(self.problem, self.parts, usable, self.group)
        self.lines.aim(self.best_value, sums, self.price_of_time, rounds)
        self.line = self.lines.base

    def gain(self, option: int) -> int:
        """Return exactly what the option adds to the value of the set in hand."""
        total = -self.problem.price
        sums, now, known = self.sums, self.now, self.known
        for i, effect in self.parts[option]:
            effect += sums[i]
            part = known[i].get(effect)
            total += (self.worth(i, effect) if part is None else part) - now[i]
        return total

    def worth(self, cause: int, effect: int) -> int:
        """Return the value of a summed effect on one cause, worked out once for each sum."""
        part = self.known[cause].get(effect)
        if part is None:
            part = self.weights[cause] * returns(self.curve, effect) // MICRO
            self.known[cause][effect] = part
        return part

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
            left = self.limits.hold_s - self.held[muscle]
            for c, seconds in self.holding[muscle]:
                if seconds > left:
                    stopped |= 1 << c
        return stopped

    def _grow(
        self,
        candidates: list[Candidate],
        value: int,
        seconds: int,
        steps: int,
        want: int,
        have: int,
        refused: int,
    ) -> None:
        """Try every set that adds at least one candidate to the set in hand.

        A branch takes one candidate and refuses those before it; `refused` holds the refused
        ones as bits.
        """
        self.nodes += 1
        spare = value + self.price_of_time * seconds
        for at, (net, option, gain) in enumerate(candidates):
            # none of the others adds more than this one does
            if spare - net - (net * (steps - 1) if net < 0 else 0) < self.reach:
                return
            rest, rest_less = self._best_of(candidates, at, steps - 1)
            if spare - net + rest < self.reach or self.nodes > self.node_limit:
                return
            bit = 1 << option
            if self.dominators[option] & refused:
                refused |= bit
                continue
            wants = want | self.raises[option]
            has = have | self.meets[option]
            missing = wants & ~has
            if not missing:
                self._offer(value + gain, option)
            if steps > 1 and not (
                missing and self._out_of_reach(candidates, at, missing, spare - net + rest_less)
            ):
                self._take(option)
                left = seconds - self.seconds[option]
                if steps == 2:
                    self._finish(candidates, at, value + gain, left, wants, has)
                else:
                    fewer = self._narrow(candidates, at, value + gain, left, rest_less, refused)
                    fewer = self._within_lines(fewer, left, steps - 1, missing)
                    self._grow(fewer, value + gain, left, steps - 1, wants, has, refused)
                self._give_back(option)
            refused |= bit

    def _best_of(self, candidates: list[Candidate], at: int, steps: int) -> tuple[int, int]:
        """Return bounds of what `steps`, and one fewer, of the candidates after `at` can add.

        As `best_few`: best first, at most one of each group, none that lowers the sum.
        """
        if steps < 1:
            return 0, 0
        group = self.group
        first = group[candidates[at][1]]
        taken, ranges = {first}, self.range_left - (first < 0)
        total = less = 0
        for net, option, _ in candidates[at + 1 :]:
            if net >= 0:
                return total, total
            one = group[option]
            if one in taken or (one < 0 and ranges < 1):
                continue
            taken.add(one)
            ranges -= one < 0
            less = total
            total -= net
            steps -= 1
            if not steps:
                return total, less
        return total, total

    def _out_of_reach(self, candidates: list[Candidate], at: int, missing: int, spare: int) -> bool:
        """Say if something missing is met by no candidate after `at`, or by none worth it."""
        meets = self.meets
        for net, option, _ in candidates[at + 1 :]:
            if meets[option] & missing:
                if spare - net < self.reach:
                    return True
                missing &= ~meets[option]
                if not missing:
                    return False
        return True

    def _narrow(
        self,
        candidates: list[Candidate],
        at: int,
        value: int,
        seconds: int,
        rest: int,
        refused: int,
    ) -> list[Candidate]:
        """Return the candidates after `at` that the set in hand can still take with profit.

        `rest` bounds what the other steps add. Gains are exact again on return.
        """
        taken = candidates[at][1]
        stopped, touched = self._stopped(taken), self.touch[taken]
        price, slack, lengths, touch = self.price_of_time, self.slack, self.seconds, self.touch
        dominators = self.dominators
        cut = value + price * seconds + rest - self.reach
        kept: list[Candidate] = []
        for candidate in candidates[at + 1 :]:
            net, option, _ = candidate
            if net > cut:
                break
            if stopped >> option & 1 or lengths[option] > seconds:
                continue
            if dominators[option] & refused:
                continue
            if touch[option] & touched:
                gain = self.gain(option)
                kept.append((price * lengths[option] - gain - slack[option], option, gain))
            else:
                kept.append(candidate)
        kept.sort()
        return kept

    def _within_lines(
        self, candidates: list[Candidate], seconds: int, steps: int, missing: int
    ) -> list[Candidate]:
        """Return those candidates that can still be part of a best set, as the lines bound it."""
        if self.lines is None:
            return candidates
        nets = self.lines.net
        spare = self.line + self.lines.price * seconds
        rows = sorted([(nets[c], c) for _, c, _ in candidates], reverse=True)
        rest, picked = best_few(rows, self.group, steps, self.range_left)
        if len(picked) == steps:
            rest -= nets[picked[-1]]
        first = missing & -missing
        if first:
            needed = max((net for net, c in rows if self.meets[c] & first), default=None)
            if needed is None or spare + rest + needed < self.reach:
                return []
        least = self.reach - spare - rest
        return [candidate for candidate in candidates if nets[candidate[1]] >= least]

    def _finish(
        self,
        candidates: list[Candidate],
        at: int,
        value: int,
        seconds: int,
        want: int,
        have: int,
    ) -> None:
        """Offer every set that adds exactly one candidate after `at` to the set in hand."""
        taken = candidates[at][1]
        stopped, touched = self._stopped(taken), self.touch[taken]
        lengths, meets, raises, touch = self.seconds, self.meets, self.raises, self.touch
        worths = self.lines.worth if self.lines is not None else None
        least = self.reach - self.line
        spare = value + self.price_of_time * seconds
        for net, option, gain in candidates[at + 1 :]:
            if spare - net < self.reach:
                return
            if stopped >> option & 1 or lengths[option] > seconds:
                continue
            if (want | raises[option]) & ~(have | meets[option]):
                continue
            if worths is not None and worths[option] < least:
                continue
            if touch[option] & touched:
                gain = self.gain(option)
            self._offer(value + gain, option)

    def _offer(self, value: int, last: int) -> None:
        """Keep the set in hand with `last` where it is better, or equal and first by key."""
        if value < self.reach:
            return
        chosen = (*self.picked, last)
        if value > self.best_value or self._key(chosen) < self._key(self.best_set):
            self.best_value = self.reach = value
            self.best_set = chosen

    def _key(self, chosen: tuple[int, ...]) -> Key:
        return tuple(sorted([(self.options[c].drill, self.options[c].dose) for c in chosen]))

    def _take(self, option: int) -> None:
        self.picked.append(option)
        self._count(option, 1)

    def _give_back(self, option: int) -> None:
        self.picked.pop()
        self._count(option, -1)

    def _count(self, option: int, sign: Literal[1, -1]) -> None:
        """Add the option to the sums of the set in hand, or take it out of them."""
        for i, effect in self.parts[option]:
            total = self.sums[i] = self.sums[i] + sign * effect
            self.now[i] = self.worth(i, total)
        if self.lines is not None:
            self.line += sign * self.lines.worth[option]
        for muscle, held in self.holds[option]:
            self.held[muscle] = self.held.get(muscle, 0) + sign * held
        if self.ranges >> option & 1:
            self.range_left -= sign
        if self.news >> option & 1:
            self.new_left -= sign
