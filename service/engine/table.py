"""A problem of choosing as parallel lists and bits by option, which the search reads fast.

Apart from the search because nothing here changes while it runs.
"""

from collections.abc import Sequence

from service.engine.exchange import conflicts, returns, wants
from service.model.choice import Problem
from service.model.quantities import MICRO


class Table:
    """The problem by option: what each adds, lasts, meets, raises and excludes."""

    def __init__(self, problem: Problem, worths: Sequence[int] | None = None) -> None:
        """`worths` are what each option adds alone without its price, where that is known."""
        weights, options = problem.weights, problem.options
        self.problem = problem
        self.limits = problem.limits
        self.options = options
        self.weights = weights
        self.curve = problem.curve
        self.parts = [[(i, e) for i, e in o.effects if weights[i] > 0 and e > 0] for o in options]
        self.touch: list[int] = []
        """Bits of the causes served."""
        self.slack: list[int] = []
        """How far rounding may let a gain seem smaller than it is elsewhere."""
        for part in self.parts:
            touch = slack = 0
            for i, _ in part:
                touch |= 1 << i
                slack += 2 * (weights[i] // MICRO + 2)
            self.touch.append(touch)
            self.slack.append(slack)
        if worths is None:
            worths = [
                sum([weights[i] * returns(problem.curve, e) // MICRO for i, e in part])
                for part in self.parts
            ]
        self.gains = [worth - problem.price for worth in worths]
        """What each option adds alone."""
        self.seconds = [option.seconds for option in options]
        bits = [wants(option, problem.limits) for option in options]
        self.meets = [met for met, _ in bits]
        self.raises = [raised for _, raised in bits]
        self.conflict, self.group = conflicts(options, problem.limits)
        self.ranges = self.news = 0
        """Bits of the range drills, and of the new ones."""
        self.holding: dict[int, list[tuple[int, int]]] = {}
        """By muscle: (option, seconds of hold)."""
        for c, option in enumerate(options):
            if option.aim == "range":
                self.ranges |= 1 << c
            if option.is_new:
                self.news |= 1 << c
            for muscle, seconds in option.holds:
                self.holding.setdefault(muscle, []).append((c, seconds))

    def only(self, keep: Sequence[int]) -> "Table":
        """Return the table of some of the options, in their order."""
        problem = self.problem
        return Table(
            Problem(
                options=tuple([problem.options[c] for c in keep]),
                weights=problem.weights,
                curve=problem.curve,
                price=problem.price,
                limits=problem.limits,
            ),
            [self.gains[c] + problem.price for c in keep],
        )

    def usable(self, want: int) -> list[int]:
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

    def price_of_time_for(self, usable: list[int], gains: list[int]) -> int:
        """Return the price of a second, of a few tried, that bounds the whole problem lowest."""
        steps, total = self.limits.steps, self.limits.seconds
        rows = [(g + self.slack[c], self.seconds[c]) for c, g in zip(usable, gains, strict=True)]
        steepest = max((g // max(1, s) for g, s in rows), default=0)
        if steepest <= 0 or sum([s for _, s in sorted(rows, reverse=True)[:steps]]) <= total:
            return 0
        best = best_price = -1
        for sixteenth in (0, 1, 2, 4, 6, 8, 10):
            price = steepest * sixteenth // 16
            nets = sorted([g - price * s for g, s in rows])[-steps:]
            bound = price * total + sum([n for n in nets if n > 0])
            if best < 0 or bound < best:
                best, best_price = bound, price
        return best_price
