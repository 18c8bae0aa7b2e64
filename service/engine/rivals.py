"""Options side by side: what each serves, meets and excludes, and which could replace which.

Apart from the table because it is also read before any option is left out.
"""

from typing import TYPE_CHECKING

from service.engine.exchange import (
    ENDS,
    Parts,
    Standing,
    conflicts,
    holds_no_more,
    serves_as_much,
)
from service.model.choice import Limits
from service.model.quantities import MICRO

if TYPE_CHECKING:
    from mypy_extensions import i64


class Rivals:
    """Some options under the weights and limits of today, by option."""

    def __init__(
        self,
        *,
        standings: list[Standing],
        parts: list[Parts],
        touch: list[int],
        slack: list[int],
        meets: list[int],
        conflict: list[int],
    ) -> None:
        self.standings = standings
        self.parts = parts
        """What each serves that weighs."""
        self.touch = touch
        """Bits of the causes served, numbered among those that weigh."""
        self.slack = slack
        """How far rounding may let a gain seem smaller than it is elsewhere."""
        self.meets = meets
        """The wants that each meets."""
        self.conflict = conflict
        """Bits of the options that each excludes, itself too."""

    def only(self, keep: list[int]) -> "Rivals":
        """Return some of the options, in their order."""
        conflict = self.conflict
        place = [0] * len(conflict)
        stay = 0
        for n, c in enumerate(keep):
            place[c] = n
            stay |= 1 << c
        masks = []
        for n, c in enumerate(keep):
            mask = 1 << n
            others = conflict[c] & stay & ~(1 << c)
            while others:
                low = others & -others
                others ^= low
                mask |= 1 << place[low.bit_length() - 1]
            masks.append(mask)
        return Rivals(
            standings=[self.standings[c] for c in keep],
            parts=[self.parts[c] for c in keep],
            touch=[self.touch[c] for c in keep],
            slack=[self.slack[c] for c in keep],
            meets=[self.meets[c] for c in keep],
            conflict=masks,
        )

    def replaceable(self) -> list[int]:
        """Return for each option the bits of those that exclude it and could always replace it.

        Options stand in the order of their keys, so that only one before it can.
        """
        found = []
        bit = 1
        for c, mask in enumerate(self.conflict):
            before = mask & bit - 1
            found.append(self._better(c, before) if before else 0)
            bit <<= 1
        return found

    def dominators(self, within: list[int]) -> list[int]:
        """Return for each option the bits of those that could always take its place and gain by it.

        In a set that holds the option without its dominator, the exchange keeps every limit and
        gives more value, or as much and a smaller key. So the best set never holds the option
        without the dominator, and where that was refused, the option is refused too.
        `within` are bits by option: which others to compare with.
        """
        return [self._better(c, others & ~(1 << c)) for c, others in enumerate(within)]

    def _better(self, c: int, others: int) -> int:
        """Return the bits of those `others` that could always take the place of the option."""
        standings, touch, meets, conflict = self.standings, self.touch, self.meets, self.conflict
        worse, touched, met, excluded = standings[c], touch[c], meets[c], conflict[c]
        seconds, key = worse.seconds, worse.key
        found = 0
        while others:
            low = others & -others
            others ^= low
            a = low.bit_length() - 1
            if touched & ~touch[a]:
                continue
            better = standings[a]
            if not (
                better.seconds > seconds
                or better.key > key
                or (better.is_new and not worse.is_new)
                or (better.ranges and not worse.ranges)
                or met & ~meets[a]
                or better.raises & ~worse.raises
                or conflict[a] & ~excluded & ~low
                or not serves_as_much(self.parts[a], self.parts[c])
                or (better.holds and not holds_no_more(better.holds, worse.holds))
            ):
                found |= low
        return found


def rivals_of(standings: list[Standing], weights: tuple[int, ...], limits: Limits) -> Rivals:
    """Return the options side by side."""
    bits, hidden = _by_cause(weights)
    parts: list[Parts] = []
    touch: list[int] = []
    slack: list[int] = []
    meets: list[int] = []
    ends_in, ends_by = limits.ends_in, limits.ends_by
    for one in standings:
        touched = 0
        lost: i64 = 0
        idle = False
        for i in one.causes:
            bit = bits[i]
            if bit:
                touched |= bit
                lost += hidden[i]
            else:
                idle = True
        part = one.effects
        parts.append(tuple([pair for pair in part if bits[pair[0]]]) if idle else part)
        touch.append(touched)
        slack.append(lost)
        met = one.meets
        if one.ending >= 0 and one.ending in ends_in and one.aim in ends_by:
            met |= ENDS
        meets.append(met)
    return Rivals(
        standings=standings,
        parts=parts,
        touch=touch,
        slack=slack,
        meets=meets,
        conflict=conflicts(standings, limits.range_drills > 1),
    )


def _by_cause(weights: tuple[int, ...]) -> tuple[list[int], list[int]]:
    """Return a bit for each cause that weighs, else 0, and what rounding hides at most on it."""
    bits, hidden = [0] * len(weights), [0] * len(weights)
    bit, whole = 1, MICRO
    for i, weight in enumerate(weights):
        if weight > 0:
            bits[i] = bit
            hidden[i] = 2 * (weight // whole + 2)
            bit <<= 1
    return bits, hidden
