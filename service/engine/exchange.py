"""What options are to each other: which exclude, need, or could always replace which.

Apart from the search because making the problem rests on the same facts, to leave out what
could never be chosen.
"""

from collections.abc import Sequence

from service.model.choice import Limits, Option

ENDS: int = 1
PRACTISES: int = 2
FIRST_PATTERN: int = 2
"""Bits of what a set still wants: an ending, practice, then the plain form of each pattern."""


def wants(option: Option, limits: Limits) -> tuple[int, int]:
    """Return the wants that the option meets, and those that it raises."""
    plain = 1 << (FIRST_PATTERN + option.pattern) if option.pattern >= 0 else 0
    meets = 0 if option.helper else plain
    if not option.helper and option.aim in limits.ends_by and option.pattern in limits.ends_in:
        meets |= ENDS
    if option.aim == "practice" and option.pattern >= 0:
        meets |= PRACTISES
    # a helper outside any pattern could never be followed by the plain form
    return meets, (plain or 1 << FIRST_PATTERN + 64) if option.helper else 0


def conflicts(options: Sequence[Option], limits: Limits) -> tuple[list[int], list[int]]:
    """Return for each option the bits of those it excludes (itself too), and its group.

    Of a group at most one enters; the negative ones are the range drills, by region.
    """
    sharing: dict[tuple[str, int], int] = {}
    names: list[list[tuple[str, int]]] = []
    for c, option in enumerate(options):
        mine = [("drill", option.drill)]
        if option.ladder >= 0:
            mine.append(("ladder", option.ladder))
        if option.aim == "range":
            mine.append(("region", option.region) if limits.range_drills > 1 else ("range", 0))
        names.append(mine)
        for name in mine:
            sharing[name] = sharing.get(name, 0) | 1 << c
    masks = []
    for mine in names:
        mask = 0
        for name in mine:
            mask |= sharing[name]
        masks.append(mask)
    groups = [
        -1 - o.region if o.aim == "range" else 2 * o.ladder + 1 if o.ladder >= 0 else 2 * o.drill
        for o in options
    ]
    return masks, groups


def dominators(
    options: Sequence[Option],
    conflict: Sequence[int],
    meets: Sequence[int],
    raises: Sequence[int],
    within: Sequence[int],
) -> list[int]:
    """Return for each option the bits of those that could always take its place and gain by it.

    In a set that holds the option without its dominator, the exchange keeps every limit and
    gives more value, or as much and a smaller key. So the best set never holds the option
    without the dominator, and where that was refused, the option is refused too.
    `conflict`, `meets` and `raises` are bits by option, and so is `within`: which others to
    compare with. Every effect counts, so leave out those on causes without weight.
    """
    serving: dict[int, int] = {}
    for c, option in enumerate(options):
        for i, _ in option.effects:
            serving[i] = serving.get(i, 0) | 1 << c
    found = [0] * len(options)
    for b, worse in enumerate(options):
        others = within[b] & ~(1 << b)
        if not others:
            continue
        for i, _ in worse.effects:
            others &= serving[i]
        if not others:
            continue
        held = dict(worse.holds)
        while others:
            low = others & -others
            others ^= low
            a = low.bit_length() - 1
            better = options[a]
            if (
                better.seconds > worse.seconds
                or better.is_new > worse.is_new
                or (better.aim == "range" and worse.aim != "range")
                or meets[b] & ~meets[a]
                or raises[a] & ~raises[b]
                or conflict[a] & ~conflict[b] & ~low
                or not _serves_as_much(better, worse)
                or any(s > held.get(m, 0) for m, s in better.holds)
            ):
                continue
            if (better.drill, better.dose) < (worse.drill, worse.dose):
                found[b] |= low
    return found


def _serves_as_much(better: Option, worse: Option) -> bool:
    """Say if no effect is smaller; both serve every cause that the worse one serves."""
    effects = dict(better.effects)
    return all(effects[i] >= e for i, e in worse.effects)


def returns(curve: Sequence[tuple[int, int]], effect: int) -> int:
    """Return r of a summed effect: floored between the points, flat beyond the last."""
    x0, y0 = curve[0]
    for x1, y1 in curve:
        if effect < x1:
            return y0 + (effect - x0) * (y1 - y0) // (x1 - x0)
        x0, y0 = x1, y1
    return y0
