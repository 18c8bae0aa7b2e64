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
from service.engine.exchange import ENDS, PRACTISES, conflicts, dominators, returns, wants
from service.model.choice import Choice, Option, Problem
from service.model.quantities import MICRO

Key = tuple[tuple[int, int], ...]
"""A set as its sorted (drill, dose) pairs: of equal values the smallest is chosen."""
Candidate = tuple[int, int, int]
"""(minus the bound of its gain net of time, option, exact gain): sorts best first."""

NODES_AT_FIRST: int = 20
"""Most searches end within these; the others begin again, bounded by lines as well."""
NODES_BEFORE_DOMINANCE: int = 120
"""Only where many options are alike does comparing all pairs pay; it may begin at any node."""


def choose(problem: Problem) -> Choice:
    """Return the session of largest value within the limits; empty where nothing beats it.

    Value of a set: sum over causes of floor(weight * r(sum of effects) / 10^6), plus bonuses,
    minus the price of each step, in millionths; r is floored between the points of the curve
    and flat beyond the last. Ties: the set whose sorted list of (drill, dose) is smallest, as
    Python compares tuples, so that a list comes before any longer one that begins with it.
    Order of `chosen`: range, control, then transfer and practice pattern by pattern, patterns
    outside `ends_in` first, each with its helpers before its plain form; within that by the
    weight served (sum of weight * effect), largest first, then by drill and dose. Cost: with k
    steps at most n^(k-1) nodes of n steps each, in practice a few dozen.
    """
    search = _Search(problem)
    search.run()
    picked = sorted(search.best_set, key=lambda c: _place(problem, c, search.best_set))
    return Choice(
        chosen=tuple(picked),
        value=search.best_value,
        seconds=sum(problem.options[c].seconds for c in picked),
    )


def _served(problem: Problem, option: Option) -> int:
    return sum(problem.weights[i] * effect for i, effect in option.effects)


def _place(
    problem: Problem, index: int, chosen: tuple[int, ...]
) -> tuple[int, bool, int, int, bool, int, int, int]:
    """Return the sort key of an option among those chosen."""
    option = problem.options[index]
    served = _served(problem, option)
    rank = {"range": 0, "control": 1}.get(option.aim, 2)
    ends, group = False, 0
    if rank == 2:
        ends = option.pattern in problem.limits.ends_in
        same = [problem.options[c] for c in chosen if problem.options[c].pattern == option.pattern]
        group = max(_served(problem, other) for other in same)
    pattern = option.pattern if rank == 2 else 0
    plain = rank == 2 and not option.helper
    return (rank, ends, -group, pattern, plain, -served, option.drill, option.dose)


class _Search:
    """One search: the problem as parallel tuples, the set in hand, and the best set found."""

    def __init__(self, problem: Problem) -> None:
        limits = problem.limits
        self.problem = problem
        self.limits = limits
        self.options = problem.options
        self.weights = problem.weights
        self.curve = problem.curve
        self.known: list[dict[int, int]] = [{0: 0} for _ in problem.weights]
        self.parts = [
            [(i, e) for i, e in option.effects if problem.weights[i] > 0 and e > 0]
            for option in problem.options
        ]
        self.touch = [sum({1 << i for i, _ in part}) for part in self.parts]
        self.flat = [option.bonus - problem.price for option in problem.options]
        loss = [2 * (w // MICRO + 2) for w in problem.weights]
        self.slack = [sum([loss[i] for i, _ in part]) for part in self.parts]
        self.seconds = [option.seconds for option in problem.options]
        bits = [wants(option, limits) for option in problem.options]
        self.meets = [b[0] for b in bits]
        self.raises = [b[1] for b in bits]
        self.conflict, self.group = conflicts(problem.options, limits)
        self.dominators = [0] * len(problem.options)
        self.lines: Lines | None = None
        self.line = 0
        """Bound by the lines of the set in hand."""
        self.nodes = 0
        self.node_limit = NODES_AT_FIRST
        self.price_of_time = 0
        self.sums = [0] * len(problem.weights)
        self.now = [0] * len(problem.weights)
        self.held: dict[int, int] = {}
        self.ranges = self.news = 0
        self.holding: dict[int, list[tuple[int, int]]] = {}
        for c, option in enumerate(problem.options):
            if option.aim == "range":
                self.ranges |= 1 << c
            if option.is_new:
                self.news |= 1 << c
            for muscle, seconds in option.holds:
                self.holding.setdefault(muscle, []).append((c, seconds))
        self.range_left = limits.range_drills
        self.new_left = limits.new_drills
        self.picked: list[int] = []
        self.best_value = 0
        self.best_set: tuple[int, ...] = ()
        self.best_key: Key = ()
        self.reach = 1
        """Value that a branch must be able to reach: the empty set already has 0."""

    def run(self) -> None:
        """Search from the empty set."""
        limits = self.limits
        if limits.steps < 1:
            return
        want = ENDS | PRACTISES if limits.needs_practice else ENDS
        usable = self._usable(want)
        gains = [self.gain(c) for c in usable]
        self.price_of_time = self._price_time(usable, gains)
        price, slack, seconds = self.price_of_time, self.slack, self.seconds
        roots = sorted(
            (price * seconds[c] - g - slack[c], c, g) for c, g in zip(usable, gains, strict=True)
        )
        self._grow(roots, 0, limits.seconds, limits.steps, want, 0, 0)
        if self.nodes > self.node_limit:
            self._prepare(usable)
            roots = self._within_lines(roots, limits.seconds, limits.steps, want)
            self._grow(roots, 0, limits.seconds, limits.steps, want, 0, 0)

    def _usable(self, want: int) -> list[int]:
        """Return the options that fit alone and their wants met by some; none if no set can."""
        limits = self.limits
        barred = (self.ranges if limits.range_drills < 1 else 0) | (
            self.news if limits.new_drills < 1 else 0
        )
        usable = [
            c
            for c, option in enumerate(self.options)
            if option.seconds <= limits.seconds
            and not barred >> c & 1
            and max([s for _, s in option.holds], default=0) <= limits.hold_s
        ]
        while True:
            met = 0
            for c in usable:
                met |= self.meets[c]
            if want & ~met:
                return []
            kept = [c for c in usable if not self.raises[c] & ~met]
            if len(kept) == len(usable):
                return usable
            usable = kept

    def _prepare(self, usable: list[int]) -> None:
        """Make the costlier bound, from the best set found so far."""
        self.node_limit = 1 << 62
        sums = [0] * len(self.weights)
        for c in self.best_set:
            for i, effect in self.parts[c]:
                sums[i] += effect
        self.lines = Lines(self.problem, usable, self.group)
        self.lines.aim(self.best_value, sums, self.price_of_time)
        self.line = self.lines.base

    def gain(self, option: int) -> int:
        """Return exactly what the option adds to the value of the set in hand."""
        total = self.flat[option]
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
        for muscle, _ in self.options[taken].holds:
            left = self.limits.hold_s - self.held[muscle]
            for c, seconds in self.holding[muscle]:
                if seconds > left:
                    stopped |= 1 << c
        return stopped

    def _price_time(self, usable: list[int], gains: list[int]) -> int:
        """Return the price of a second, of a few tried, that bounds the whole problem lowest."""
        steps, total = self.limits.steps, self.limits.seconds
        rows = [(g + self.slack[c], self.seconds[c]) for c, g in zip(usable, gains, strict=True)]
        steepest = max((g // max(1, s) for g, s in rows), default=0)
        if steepest <= 0 or sum(sorted([s for _, s in rows])[-steps:]) <= total:
            return 0
        best = best_price = -1
        for sixteenth in (0, 1, 2, 4, 6, 8, 10):
            price = steepest * sixteenth // 16
            nets = sorted([g - price * s for g, s in rows])[-steps:]
            bound = price * total + sum([n for n in nets if n > 0])
            if best < 0 or bound < best:
                best, best_price = bound, price
        return best_price

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
        if self.nodes == NODES_BEFORE_DOMINANCE:
            everyone = [(1 << len(self.options)) - 1] * len(self.options)
            self.dominators = dominators(
                self.options, self.conflict, self.meets, self.raises, within=everyone
            )
        spare = value + self.price_of_time * seconds
        for at, (net, option, gain) in enumerate(candidates):
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

        Best first, at most one of each group and none that lowers the sum. Groups part the
        candidates, so taking the best first is best (a matroid).
        """
        if steps < 1:
            return 0, 0
        group = self.group
        room = {group[candidates[at][1]]: 1}
        total = less = 0
        for net, option, _ in candidates[at + 1 :]:
            if net >= 0:
                return total, total
            one = group[option]
            if one in room and (one >= 0 or room[one] >= self.limits.range_drills):
                continue
            room[one] = room.get(one, 0) + 1
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
        spare = value + self.price_of_time * seconds
        for net, option, gain in candidates[at + 1 :]:
            if spare - net < self.reach:
                return
            if stopped >> option & 1 or lengths[option] > seconds:
                continue
            if (want | raises[option]) & ~(have | meets[option]):
                continue
            if touch[option] & touched:
                gain = self.gain(option)
            self._offer(value + gain, option)

    def _offer(self, value: int, last: int) -> None:
        """Keep the set in hand with `last` where it is better, or equal and first by key."""
        if value < self.reach:
            return
        chosen = (*self.picked, last)
        key = tuple(sorted((self.options[c].drill, self.options[c].dose) for c in chosen))
        if value > self.best_value or key < self.best_key:
            self.best_value = self.reach = value
            self.best_set, self.best_key = chosen, key

    def _take(self, option: int) -> None:
        self.picked.append(option)
        self._count(option, 1)

    def _give_back(self, option: int) -> None:
        self.picked.pop()
        self._count(option, -1)

    def _count(self, option: int, sign: Literal[1, -1]) -> None:
        """Add the option to the sums of the set in hand, or take it out of them."""
        one = self.options[option]
        for i, effect in self.parts[option]:
            total = self.sums[i] = self.sums[i] + sign * effect
            self.now[i] = self.worth(i, total)
        if self.lines is not None:
            net = self.lines.net[option] + self.lines.price * one.seconds
            self.line += sign * net
        for muscle, held in one.holds:
            self.held[muscle] = self.held.get(muscle, 0) + sign * held
        if one.aim == "range":
            self.range_left -= sign
        if one.is_new:
            self.new_left -= sign
