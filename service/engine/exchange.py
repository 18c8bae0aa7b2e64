"""What options are to each other: which exclude, need, or could always replace which.

Apart from the search because making the problem rests on the same facts, to leave out what
could never be chosen.
"""

from typing import Final, TypeAlias

from service.model.choice import Option
from service.model.quantities import Aim

ENDS: Final = 1
PRACTISES: Final = 2
FIRST_PATTERN: Final = 2
"""Bits of what a set still wants: an ending, practice, then the plain form of each pattern."""

Parts: TypeAlias = tuple[tuple[int, int], ...]
"""What an option serves that weighs: (cause, effect)."""


class Standing:
    """What an option is among others and to the limits, whatever the screen.

    Plain attributes, made once with the option: they are read on each request.
    """

    def __init__(self, option: Option) -> None:
        ranges = option.aim == "range"
        plain = 1 << FIRST_PATTERN + option.pattern if option.pattern >= 0 else 0
        self.key = 2 * option.drill + option.dose
        """Orders as (drill, dose) does."""
        self.seconds = option.seconds
        effects: Parts = tuple([part for part in option.effects if part[1] > 0])
        # mostly the very same: it is kept once
        self.effects = option.effects if effects == option.effects else effects
        self.causes = tuple([i for i, _ in self.effects])
        self.holds = option.holds
        self.is_new = option.is_new
        self.aim: Aim = option.aim
        # INVARIANT: both doses of a drill are of one ladder
        self.own = -1 - option.ladder if option.ladder >= 0 else option.drill
        """Its drill, or its ladder as a negative number: at most one of it enters."""
        self.ranges = ranges
        self.region = option.region
        """At most one range drill of it enters, or one in all."""
        group = 2 * option.ladder + 1 if option.ladder >= 0 else 2 * option.drill
        self.group = -1 - option.region if ranges else group
        """The narrowest of these, negative for range."""
        self.ending = -1 if option.helper else option.pattern
        """The pattern that it is the plain form of, -1 if of none."""
        self.meets = 0 if option.helper else plain
        """Wants that it meets, but for the ending, which depends on the limits."""
        self.raises = 0
        if option.helper:
            # a helper outside any pattern could never be followed by the plain form
            self.raises = plain or 1 << FIRST_PATTERN + 64
        if option.pattern >= 0 and option.aim == "practice":
            self.meets |= PRACTISES


def conflicts(standings: list[Standing], apart: bool) -> list[int]:
    """Return for each option the bits of those that it excludes, itself too.

    Of a drill or a ladder at most one enters; of range drills one in all, or one of each region
    where they may be `apart`.
    """
    drills = ladders = 0
    for one in standings:
        drills, ladders = max(drills, one.own + 1), max(ladders, -one.own)
    # drills stand from the front, ladders from the end
    sharing = [0] * (drills + ladders)
    regions: dict[int, int] = {}
    bit = 1
    for one in standings:
        sharing[one.own] = sharing[one.own] | bit
        if one.ranges:
            region = one.region if apart else 0
            regions[region] = regions.get(region, 0) | bit
        bit <<= 1
    masks = [sharing[one.own] for one in standings]
    if regions:
        for c, one in enumerate(standings):
            if one.ranges:
                masks[c] = masks[c] | regions[one.region if apart else 0]
    return masks


def parts_of(option: Option, weights: tuple[int, ...]) -> Parts:
    """Return what the option serves that weighs."""
    return tuple([(i, e) for i, e in option.effects if weights[i] > 0 and e > 0])


def serves_as_much(better: Parts, worse: Parts) -> bool:
    """Say if no effect is smaller, given that all causes which the worse one serves are served."""
    for i, effect in worse:
        for other, much in better:
            if other == i:
                if much < effect:
                    return False
                break
    return True


def holds_no_more(better: tuple[tuple[int, int], ...], worse: tuple[tuple[int, int], ...]) -> bool:
    """Say if no muscle is held longer."""
    held = dict(worse)
    return all(seconds <= held.get(muscle, 0) for muscle, seconds in better)


def returns(curve: tuple[tuple[int, int], ...], effect: int) -> int:
    """Return r of a summed effect: floored between the points, flat beyond the last."""
    x0, y0 = curve[0]
    for x1, y1 in curve:
        if effect < x1:
            return y0 + (effect - x0) * (y1 - y0) // (x1 - x0)
        x0, y0 = x1, y1
    return y0
