"""A problem of choosing as parallel lists and bits by option, which the search reads fast.

Apart from the search because nothing here changes while it runs.
"""

from service.engine.exchange import (
    Parts,
    Standing,
    conflicts,
    dominators,
    parts_of,
    returns,
    standing_of,
    wants,
)
from service.model.choice import Problem
from service.model.quantities import MICRO


def table_of(
    problem: Problem, worths: list[int] | None = None, standings: list[Standing] | None = None
) -> "Table":
    """Return the problem as a table.

    Both where known: what each option adds alone without its price, and its standing.
    """
    weights, options = problem.weights, problem.options
    weighing = sum([1 << i for i, weight in enumerate(weights) if weight > 0])
    if standings is None:
        standings = [standing_of(option) for option in options]
    parts: list[Parts] = [
        option.effects if not one.serves & ~weighing else parts_of(option, weights)
        for option, one in zip(options, standings, strict=True)
    ]
    if worths is None:
        worths = [
            sum([weights[i] * returns(problem.curve, e) // MICRO for i, e in part])
            for part in parts
        ]
    hidden = [2 * (weight // MICRO + 2) for weight in weights]
    apart = problem.limits.range_drills > 1
    return Table(
        problem=problem,
        parts=parts,
        touch=[one.serves & weighing for one in standings],
        slack=[sum([hidden[i] for i, _ in part]) for part in parts],
        gains=[worth - problem.price for worth in worths],
        wants=[wants(option, problem.limits) for option in options],
        names=[one.apart if apart else one.together for one in standings],
        group=[one.group for one in standings],
    )


class Table:
    """The problem by option: what each adds, lasts, meets, raises and excludes."""

    def __init__(
        self,
        *,
        problem: Problem,
        parts: list[Parts],
        touch: list[int],
        slack: list[int],
        gains: list[int],
        wants: list[tuple[int, int]],
        names: list[list[int]],
        group: list[int],
    ) -> None:
        self.problem = problem
        self.limits = problem.limits
        self.options = problem.options
        self.weights = problem.weights
        self.curve = problem.curve
        self.parts = parts
        self.touch = touch
        """Bits of the causes served."""
        self.slack = slack
        """How far rounding may let a gain seem smaller than it is elsewhere."""
        self.gains = gains
        """What each option adds alone."""
        self.seconds = [option.seconds for option in problem.options]
        self.wants = wants
        """What each meets, and what it raises."""
        self.meets = [met for met, _ in wants]
        self.raises = [raised for _, raised in wants]
        self.names = names
        self.group = group
        self.conflict = conflicts(names)
        self.ranges = self.news = 0
        """Bits of the range drills, and of the new ones."""
        self.holds = [option.holds for option in problem.options]
        self.holding: dict[int, list[tuple[int, int]]] = {}
        """By muscle: (option, seconds of hold)."""
        for c, option in enumerate(problem.options):
            if option.aim == "range":
                self.ranges |= 1 << c
            if option.is_new:
                self.news |= 1 << c
            for muscle, seconds in self.holds[c]:
                self.holding.setdefault(muscle, []).append((c, seconds))

    def only(self, keep: list[int]) -> "Table":
        """Return the table of some of the options, in their order."""
        problem = self.problem
        return Table(
            problem=Problem(
                options=tuple([problem.options[c] for c in keep]),
                weights=problem.weights,
                curve=problem.curve,
                price=problem.price,
                limits=problem.limits,
            ),
            parts=[self.parts[c] for c in keep],
            touch=[self.touch[c] for c in keep],
            slack=[self.slack[c] for c in keep],
            gains=[self.gains[c] for c in keep],
            wants=[self.wants[c] for c in keep],
            names=[self.names[c] for c in keep],
            group=[self.group[c] for c in keep],
        )

    def replaceable(self) -> list[int]:
        """Return for each option the bits of those that exclude it and could always replace it.

        Options stand in the order of their keys, so that only one before it can.
        """
        before = [mask & (1 << c) - 1 for c, mask in enumerate(self.conflict)]
        return self.dominators(before)

    def dominators(self, within: list[int]) -> list[int]:
        """As `exchange.dominators`."""
        return dominators(self.options, self.parts, self.conflict, self.wants, within)

    def usable(self, want: int) -> list[int]:
        """Return the options that fit alone and their wants met by some; none if no set can."""
        limits = self.limits
        barred = (self.ranges if limits.range_drills < 1 else 0) | (
            self.news if limits.new_drills < 1 else 0
        )
        for held in self.holding.values():
            for c, seconds in held:
                if seconds > limits.hold_s:
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

    def price_of_time_for(self, usable: list[int], gains: list[int]) -> int:
        """Return the price of a second, of a few tried, that bounds the whole problem lowest."""
        steps, total = self.limits.steps, self.limits.seconds
        rows = [(g + self.slack[c], self.seconds[c]) for c, g in zip(usable, gains, strict=True)]
        steepest = max((g // max(1, s) for g, s in rows), default=0)
        if steepest <= 0 or sum([s for _, s in sorted(rows, reverse=True)[:steps]]) <= total:
            return 0
        best = best_price = -1
        for sixteenth in (0, 2, 5, 9):
            price = steepest * sixteenth // 16
            nets = sorted([g - price * s for g, s in rows])[-steps:]
            bound = price * total + sum([n for n in nets if n > 0])
            if best < 0 or bound < best:
                best, best_price = bound, price
        return best_price
