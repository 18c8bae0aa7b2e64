"""Which side of a drill goes first today, and how many sets each side gets.

Apart from the options because it is a rule, not a choice: the search only sees its seconds.
"""

from service.engine.frame import Frame, heavier_side
from service.engine.rows import Row
from service.model.answer import SideDose
from service.model.knowledge import DrillRecord
from service.model.quantities import Side


def sides_of(drill: DrillRecord, sets: int, extra_sets: int, weaker: Side) -> tuple[SideDose, ...]:
    """Return the sets by side, the weaker side first and with the extra sets.

    `weaker` is `none` where neither side weighs more: then left comes first, with no extra set.
    A drill that is not done on each side in turn has one entry, `both`.
    """
    if not drill.each_side:
        return (SideDose(side="both", sets=sets),)
    if weaker == "none":
        return (SideDose(side="left", sets=sets), SideDose(side="right", sets=sets))
    other: Side = "right" if weaker == "left" else "left"
    return (SideDose(side=weaker, sets=sets + extra_sets), SideDose(side=other, sets=sets))


def weaker_side(frame: Frame, row: Row) -> Side:
    """Return the side that weighs more, `none` if neither or if the drill has no sides.

    Range and control go by the causes that the drill serves; transfer and practice by the whole
    session. Sides differ where left minus right is more than the rule's part of both together.
    """
    if not row.each_side:
        return "none"
    if row.by_session:
        return frame.weaker
    lean, sided = frame.lean, frame.sided
    balance = both = 0
    for variable in row.served:
        balance += lean[variable]
        both += sided[variable]
    return heavier_side(balance, both, frame.least_lean_percent)
