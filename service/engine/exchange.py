"""What options are to each other: which exclude, need, or could always replace which.

Apart from the search because making the problem rests on the same facts, to leave out what
could never be chosen.
"""

from typing import TypeAlias

from service.model.choice import Limits, Option
from service.model.records import Leaf

ENDS: int = 1
PRACTISES: int = 2
FIRST_PATTERN: int = 2
"""Bits of what a set still wants: an ending, practice, then the plain form of each pattern."""


def wants(option: Option, limits: Limits) -> tuple[int, int]:
    """Return the wants that the option meets, and those that it raises."""
    if option.pattern < 0:
        # a helper outside any pattern could never be followed by the plain form
        return 0, 1 << FIRST_PATTERN + 64 if option.helper else 0
    plain = 1 << FIRST_PATTERN + option.pattern
    meets = 0 if option.helper else plain
    if not option.helper and option.aim in limits.ends_by and option.pattern in limits.ends_in:
        meets |= ENDS
    if option.aim == "practice":
        meets |= PRACTISES
    return meets, plain if option.helper else 0


class Standing(Leaf, frozen=True):
    """What an option is among others, whatever the screen.

    `together` and `apart` name what it is of which at most one enters: its drill, its ladder, and
    of range drills all, or those of its region. `group` is the narrowest of them, negative by
    region for range. `serves` are the bits of its causes, whether they weigh or not.
    """

    together: list[int]
    apart: list[int]
    group: int
    serves: int


def standing_of(option: Option) -> Standing:
    """Return what an option is among others."""
    own = [4 * option.drill]
    if option.ladder >= 0:
        own.append(4 * option.ladder + 1)
    ranges = option.aim == "range"
    group = 2 * option.ladder + 1 if option.ladder >= 0 else 2 * option.drill
    return Standing(
        together=[*own, 3] if ranges else own,
        apart=[*own, 4 * option.region + 2] if ranges else own,
        group=-1 - option.region if ranges else group,
        serves=sum([1 << i for i, effect in option.effects if effect > 0]),
    )


def conflicts(names: list[list[int]]) -> list[int]:
    """Return for each option the bits of those that share a name with it, itself too."""
    sharing: dict[int, int] = {}
    for c, mine in enumerate(names):
        for name in mine:
            sharing[name] = sharing.get(name, 0) | 1 << c
    masks = []
    for mine in names:
        mask = 0
        for name in mine:
            mask |= sharing[name]
        masks.append(mask)
    return masks


Parts: TypeAlias = tuple[tuple[int, int], ...]
"""What an option serves that weighs: (cause, effect)."""


def parts_of(option: Option, weights: tuple[int, ...]) -> Parts:
    """Return what the option serves that weighs."""
    return tuple([(i, e) for i, e in option.effects if weights[i] > 0 and e > 0])


def dominators(
    options: tuple[Option, ...],
    parts: list[Parts],
    conflict: list[int],
    bits: list[tuple[int, int]],
    within: list[int],
) -> list[int]:
    """Return for each option the bits of those that could always take its place and gain by it.

    In a set that holds the option without its dominator, the exchange keeps every limit and
    gives more value, or as much and a smaller key. So the best set never holds the option
    without the dominator, and where that was refused, the option is refused too.
    `conflict` are bits by option, and so is `within`: which others to compare with; `bits` are
    its wants, met and raised.
    """
    serving: dict[int, int] = {}
    for c, part in enumerate(parts):
        for i, _ in part:
            serving[i] = serving.get(i, 0) | 1 << c
    found = [0] * len(options)
    for b, worse in enumerate(options):
        others = within[b] & ~(1 << b)
        for i, _ in parts[b]:
            others &= serving[i]
        if not others:
            continue
        meets, raises = bits[b]
        while others:
            low = others & -others
            others ^= low
            a = low.bit_length() - 1
            better = options[a]
            if (
                better.seconds > worse.seconds
                or better.is_new > worse.is_new
                or (better.aim == "range" and worse.aim != "range")
                or meets & ~bits[a][0]
                or bits[a][1] & ~raises
                or conflict[a] & ~conflict[b] & ~low
                or (better.drill, better.dose) > (worse.drill, worse.dose)
                or not _serves_as_much(parts[a], parts[b])
                or (better.holds and not _holds_no_more(better, worse))
            ):
                continue
            found[b] |= low
    return found


def _serves_as_much(better: Parts, worse: Parts) -> bool:
    """Say if no effect is smaller; both serve every cause that the worse one serves."""
    effects = dict(better)
    return all(effects[i] >= e for i, e in worse)


def _holds_no_more(better: Option, worse: Option) -> bool:
    held = dict(worse.holds)
    return all(s <= held.get(m, 0) for m, s in better.holds)


def returns(curve: tuple[tuple[int, int], ...], effect: int) -> int:
    """Return r of a summed effect: floored between the points, flat beyond the last."""
    x0, y0 = curve[0]
    for x1, y1 in curve:
        if effect < x1:
            return y0 + (effect - x0) * (y1 - y0) // (x1 - x0)
        x0, y0 = x1, y1
    return y0
