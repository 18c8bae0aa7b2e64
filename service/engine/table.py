"""A problem of choosing as parallel lists and bits by option, which the search reads fast.

Apart from the search because nothing here changes while it runs.
"""

from service.engine.exchange import Standing, returns
from service.engine.rivals import Rivals, rivals_of
from service.model.choice import Problem
from service.model.quantities import MICRO


def table_of(problem: Problem) -> "Table":
    """Return the problem as a table."""
    weights, curve, price = problem.weights, problem.curve, problem.price
    standings = [Standing(option) for option in problem.options]
    rivals = rivals_of(standings, weights, problem.limits)
    gains = [
        sum([weights[i] * returns(curve, e) // MICRO for i, e in part]) - price
        for part in rivals.parts
    ]
    return Table(problem, rivals, gains)


class Table:
    """The problem by option: what each adds, lasts, meets, raises and excludes."""

    def __init__(self, problem: Problem, rivals: Rivals, gains: list[int]) -> None:
        standings = rivals.standings
        self.problem = problem
        self.rivals = rivals
        self.limits = problem.limits
        self.options = problem.options
        self.weights = problem.weights
        self.curve = problem.curve
        self.parts = rivals.parts
        self.touch = rivals.touch
        self.slack = rivals.slack
        self.meets = rivals.meets
        self.conflict = rivals.conflict
        self.gains = gains
        """What each option adds alone."""
        self.seconds = [one.seconds for one in standings]
        self.group = [one.group for one in standings]
        self.raises = [one.raises for one in standings]
        """The wants that each raises."""
        self.holds = [one.holds for one in standings]
        self.holding: dict[int, list[tuple[int, int]]] = {}
        """By muscle: (option, seconds of hold)."""
        ranges, news, bit = 0, 0, 1
        for c, one in enumerate(standings):
            if one.ranges:
                ranges |= bit
            if one.is_new:
                news |= bit
            bit <<= 1
            for muscle, seconds in one.holds:
                self.holding.setdefault(muscle, []).append((c, seconds))
        self.ranges, self.news = ranges, news
        """Bits of the range drills, and of the new ones."""

    def dominators(self, within: list[int]) -> list[int]:
        """As `Rivals.dominators`."""
        return self.rivals.dominators(within)

    def usable(self, want: int) -> list[int]:
        """Return the options that fit alone and their wants met by some; none if no set can."""
        limits = self.limits
        barred = (self.ranges if limits.range_drills < 1 else 0) | (
            self.news if limits.new_drills < 1 else 0
        )
        hold_s = limits.hold_s
        for held in self.holding.values():
            for c, seconds in held:
                if seconds > hold_s:
                    barred |= 1 << c
        most, meets, raises = limits.seconds, self.meets, self.raises
        usable = [c for c, s in enumerate(self.seconds) if s <= most and not barred >> c & 1]
        while True:
            met = 0
            for c in usable:
                met |= meets[c]
            if want & ~met:
                return []
            kept = [c for c in usable if not raises[c] & ~met]
            if len(kept) == len(usable):
                return usable
            usable = kept

    def price_of_time(self, usable: list[int]) -> int:
        """Return the price of a second, of a few tried, that bounds the whole problem lowest."""
        gains, slack, lengths, total = self.gains, self.slack, self.seconds, self.limits.seconds
        mosts = [gains[c] + slack[c] for c in usable]
        steepest = 0
        for n, c in enumerate(usable):
            steepest = max(steepest, mosts[n] // max(1, lengths[c]))
        best = best_price = -1
        for sixteenth in (0, 2, 5, 9):
            price = steepest * sixteenth // 16
            bound = price * total + self._filled(usable, mosts, price)
            if best < 0 or bound < best:
                best, best_price = bound, price
        return best_price

    def _filled(self, usable: list[int], mosts: list[int], price: int) -> int:
        """Return the most that the steps can hold at a price of a second."""
        lengths = self.seconds
        few = [0] * self.limits.steps
        least = filled = 0
        for n, c in enumerate(usable):
            net = mosts[n] - price * lengths[c]
            if net > least:
                filled += net - least
                few[0] = net
                few.sort()
                least = few[0]
        return filled
