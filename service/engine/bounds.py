"""Straight lines above the returns, which bound every session of a branch at once.

Apart from the search because the bound stands on its own proof, whatever slopes it is given.
"""

import itertools

from service.engine.exchange import Parts
from service.model.choice import Problem
from service.model.quantities import MICRO


class Lines:
    """A straight line above the value of each cause, and with them a bound of every set.

    value(set) <= base + sum of worth(option) for any slopes, because returns are concave and a
    line of slope s lies above them when raised by max(value - s * effect). With a price L of a
    second, base + L * (seconds left) + sum of (worth - L * seconds) bounds what still fits.
    Slopes and price are sought by subgradient steps (Held, Wolfe and Crowder 1974), any result
    is a valid bound.
    """

    def __init__(
        self,
        problem: Problem,
        parts: list[Parts],
        usable: list[int],
        group: list[int],
    ) -> None:
        """`parts` are by option the effects that weigh."""
        self.problem = problem
        self.parts = parts
        self.usable = usable
        self.group = group
        self.slopes = [0] * len(problem.weights)
        self.price = 0
        self.base = 0
        self.worth: list[int] = []
        self.net: list[int] = []
        """worth - price * seconds, by option."""
        options = problem.options
        self.rows = [(c, parts[c], options[c].seconds) for c in usable]
        self.weighed = [(i, weight) for i, weight in enumerate(problem.weights) if weight > 0]

    def aim(self, target: int, start: list[int], price: int, rounds: int) -> None:
        """Lower the bound towards `target` in so many steps, from the slopes at sums `start`."""
        slopes = [self._slope(i, at) for i, at in enumerate(start)]
        best = -1
        for _ in range(rounds):
            base, tops = self._raised(slopes)
            worth, picked = self._fill(slopes, price)
            bound = base + price * self.problem.limits.seconds + worth
            if best < 0 or bound < best:
                best = bound
                self.slopes, self.price, self.base = list(slopes), price, base
            gap = bound - target
            if gap <= 0:
                break
            slopes, price = self._step(slopes, price, tops, picked, gap)
        self.net = [0] * len(self.problem.options)
        self.worth = [0] * len(self.problem.options)
        for net, c in self._nets(self.slopes, self.price):
            self.net[c] = net
            self.worth[c] = net + self.price * self.problem.options[c].seconds

    def _slope(self, cause: int, at: int) -> int:
        """Return the value per whole effect just past a sum."""
        weight, curve = self.problem.weights[cause], self.problem.curve
        for (x0, y0), (x1, y1) in itertools.pairwise(curve):
            if at < x1:
                return weight * (y1 - y0) // (x1 - x0)
        return 0

    def _raised(self, slopes: list[int]) -> tuple[int, list[int]]:
        """Return how far all lines are raised together, and the effect where each touches."""
        base, tops = 0, [0] * len(slopes)
        curve = self.problem.curve
        for i, weight in self.weighed:
            slope, most = slopes[i], 0
            for x, y in curve:
                above = weight * y - slope * x
                if above > most:
                    most, tops[i] = above, x
            base -= -most // MICRO
        return base, tops

    def _nets(self, slopes: list[int], price: int) -> list[tuple[int, int]]:
        """Return (net, option) for the usable options, rounded up."""
        nets = []
        price_of_step = self.problem.price
        for c, effects, seconds in self.rows:
            worth = MICRO - 1
            for i, effect in effects:
                worth += slopes[i] * effect
            nets.append((worth // MICRO - price_of_step - price * seconds, c))
        return nets

    def _fill(self, slopes: list[int], price: int) -> tuple[int, list[int]]:
        """Return the best sum of nets that the steps and groups allow, and its options."""
        limits = self.problem.limits
        rows = sorted(self._nets(slopes, price), reverse=True)
        return best_few(rows, self.group, limits.steps, limits.range_drills)

    def _step(
        self, slopes: list[int], price: int, tops: list[int], picked: list[int], gap: int
    ) -> tuple[list[int], int]:
        """Return slopes and price one step further down, as long as the gap asks (Polyak 1969)."""
        options, limits = self.problem.options, self.problem.limits
        effects = [-top for top in tops]
        late = -limits.seconds
        for c in picked:
            late += options[c].seconds
            for i, e in self.parts[c]:
                effects[i] += e
        # seconds are measured in thousandths of the whole time, so that both kinds count alike
        unit = max(1, limits.seconds)
        lateness = late * MICRO // unit
        norm = sum([e * e for e in effects]) + lateness * lateness
        if norm == 0:
            return slopes, price
        lower = [max(0, s - gap * MICRO * e // norm) for s, e in zip(slopes, effects, strict=True)]
        return lower, max(0, price + gap * MICRO * lateness // (norm * unit))


def best_few(
    rows: list[tuple[int, int]], group: list[int], steps: int, range_drills: int
) -> tuple[int, list[int]]:
    """Return the largest sum of at most `steps` of (net, option), sorted best first, and those.

    None that lowers the sum, at most one of each group, and `range_drills` of negative groups:
    these limits are nested or apart, so that best first is best (a laminar matroid).
    """
    total = 0
    picked: list[int] = []
    taken: set[int] = set()
    for net, option in rows:
        if net <= 0 or len(picked) == steps:
            break
        one = group[option]
        if one in taken or (one < 0 and range_drills < 1):
            continue
        taken.add(one)
        range_drills -= one < 0
        total += net
        picked.append(option)
    return total, picked
