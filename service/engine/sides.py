"""Which side of a drill goes first today, and how many sets each side gets.

Apart from the options because it is a rule, not a choice: the search only sees its seconds.
"""

from service.engine.frame import Frame
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


def weaker_side(frame: Frame, drill: DrillRecord) -> Side:
    """Return the side that weighs more, `none` if neither or if the drill has no sides.

    Range and control go by the causes that the drill serves; transfer and practice by the whole
    session. Sides differ where left minus right is more than the rule's part of both together.
    """
    if not drill.each_side:
        return "none"
    balance, both = frame.balance, frame.both_sides
    if drill.aim not in ("transfer", "practice"):
        served = [frame.graph.variable_of[t.cause] for t in drill.trains]
        balance = sum([frame.wanted.lean[v] for v in served])
        both = sum([frame.sided[v] for v in served])
    if 100 * abs(balance) <= frame.least_lean_percent * both:
        return "none"
    return "left" if balance > 0 else "right"
