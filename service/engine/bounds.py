"""Straight lines above the returns, which bound every session of a branch at once.

Apart from the search because the bound stands on its own proof, whatever slopes it is given.
"""

import itertools

from service.engine.sums import Sums
from service.engine.table import Table
from service.model.quantities import MICRO


class Lines:
    """A straight line above the value of each cause, and with them a bound of every set.

    value(set) <= base + sum of worth(option) for any slopes, because returns are concave and a
    line of slope s lies above them when raised by max(value - s * effect). With a price L of a
    second, base + L * (seconds left) + sum of (worth - L * seconds) bounds what still fits.
    Slopes and price are sought by subgradient steps (Held, Wolfe and Crowder 1974), any result
    is a valid bound.
    """

    def __init__(self, table: Table, sums: Sums, usable: list[int], alike: list[int]) -> None:
        """`alike` are by option the bits of its group. Causes are those of `sums`."""
        problem = table.problem
        self.seconds, self.ranges, self.alike = table.seconds, table.ranges, alike
        self.curve, self.price_of_step = table.curve, problem.price
        self.most_s, self.steps = table.limits.seconds, table.limits.steps
        self.range_drills = table.limits.range_drills
        self.weights = [int(cause.weight) for cause in sums.causes]
        self.usable = usable
        self.shift = len(table.seconds).bit_length()
        self.parts = [[(one.cause.at, int(one.effect)) for one in own] for own in sums.parts]
        self.slopes = [0] * len(self.weights)
        self.price = 0
        self.base = 0
        self.worth: list[int] = []
        self.net: list[int] = []
        """worth - price * seconds, by option."""

    def aim(self, target: int, start: list[int], price: int, rounds: int) -> None:
        """Lower the bound towards `target` in so many steps, from the slopes at sums `start`."""
        slopes = [self._slope(i, at) for i, at in enumerate(start)]
        best = -1
        for _ in range(rounds):
            base, tops = self._raised(slopes)
            worth, picked = self._fill(slopes, price)
            bound = base + price * self.most_s + worth
            if best < 0 or bound < best:
                best = bound
                self.slopes, self.price, self.base = slopes, price, base
            gap = bound - target
            if gap <= 0:
                break
            slopes, price = self._step(slopes, price, tops, picked, gap)
        self.net = [0] * len(self.seconds)
        self.worth = [0] * len(self.seconds)
        nets = self._nets(self.slopes, self.price)
        for n, c in enumerate(self.usable):
            self.net[c] = nets[n]
            self.worth[c] = nets[n] + self.price * self.seconds[c]

    def _slope(self, cause: int, at: int) -> int:
        """Return the value per whole effect just past a sum."""
        for (x0, y0), (x1, y1) in itertools.pairwise(self.curve):
            if at < x1:
                return self.weights[cause] * (y1 - y0) // (x1 - x0)
        return 0

    def _raised(self, slopes: list[int]) -> tuple[int, list[int]]:
        """Return how far all lines are raised together, and the effect where each touches."""
        base, tops = 0, [0] * len(slopes)
        curve = self.curve
        for i, weight in enumerate(self.weights):
            slope, most = slopes[i], 0
            for x, y in curve:
                above = weight * y - slope * x
                if above > most:
                    most, tops[i] = above, x
            base -= -most // MICRO
        return base, tops

    def _nets(self, slopes: list[int], price: int) -> list[int]:
        """Return the nets of the usable options, rounded up."""
        parts, seconds = self.parts, self.seconds
        micro, price_of_step = MICRO, self.price_of_step
        nets = []
        for c in self.usable:
            worth = micro - 1
            for i, effect in parts[c]:
                worth += slopes[i] * effect
            nets.append(worth // micro - price_of_step - price * seconds[c])
        return nets

    def _fill(self, slopes: list[int], price: int) -> tuple[int, list[int]]:
        """Return the best sum of nets that the steps and groups allow, and its options."""
        nets, shift = self._nets(slopes, price), self.shift
        rows = [(nets[n] << shift) + c for n, c in enumerate(self.usable)]
        rows.sort(reverse=True)
        return self.best_few(rows, self.steps, self.range_drills)

    def _step(
        self, slopes: list[int], price: int, tops: list[int], picked: list[int], gap: int
    ) -> tuple[list[int], int]:
        """Return slopes and price one step further down, as long as the gap asks (Polyak 1969)."""
        effects = [-top for top in tops]
        late = -self.most_s
        for c in picked:
            late += self.seconds[c]
            for i, e in self.parts[c]:
                effects[i] += e
        # seconds are measured in thousandths of the whole time, so that both kinds count alike
        unit = max(1, self.most_s)
        lateness = late * MICRO // unit
        norm = sum([e * e for e in effects]) + lateness * lateness
        if norm == 0:
            return slopes, price
        lower = [max(0, s - gap * MICRO * effects[i] // norm) for i, s in enumerate(slopes)]
        return lower, max(0, price + gap * MICRO * lateness // (norm * unit))

    def best_few(self, rows: list[int], steps: int, range_drills: int) -> tuple[int, list[int]]:
        """Return the largest sum of at most `steps` of the rows, and the options of that.

        A row is the net and in the last `shift` bits the option; they are sorted best first. None
        that lowers the sum, at most one of each group, and `range_drills` of those for range:
        these limits are nested or apart, so that best first is best (a laminar matroid).
        """
        shift, alike, ranges = self.shift, self.alike, self.ranges
        last_bits = (1 << shift) - 1
        total = 0
        picked: list[int] = []
        taken = 0 if range_drills > 0 else ranges
        for row in rows:
            net, option = row >> shift, row & last_bits
            if net <= 0 or len(picked) == steps:
                break
            if taken >> option & 1:
                continue
            taken |= alike[option]
            if ranges >> option & 1:
                range_drills -= 1
                if range_drills < 1:
                    taken |= ranges
            total += net
            picked.append(option)
        return total, picked
