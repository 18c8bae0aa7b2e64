"""What can be told of all drills before the screen is: those that are shut, and what kit they need.

Apart from the shelf because a walk over all drills reads plain numbers, not records.
"""

from collections.abc import Mapping
from typing import Final

from service.engine.kept import Keeper
from service.engine.rows import Row
from service.model.graph import Graph
from service.model.quantities import LeftOutReason
from service.model.records import Frozen

REASONS: tuple[LeftOutReason | None, ...] = (None, "level", "rule", "kit", "outscored")
"""Why a row is kept out before its doses are looked at; `Laid.reasons` holds places here."""
LEVEL: Final = 1
RULE: Final = 2
KIT: Final = 3
OUTSCORED: Final = 4


class Doors(Frozen, frozen=True, kw_only=True):
    """The rows as one kind of verdict sees them, all by row."""

    shut: tuple[int, ...]
    """What keeps it out of every session, as a place in `REASONS`; 0 where nothing does."""
    kinds: tuple[str, ...]
    """The kind of the rule that keeps it out, empty where none does; kit is asked for first."""
    helpers: tuple[str, ...]
    """With what practice is helped, which must make sense today; empty where nothing is."""

    free: tuple[bool, ...]
    """If it needs neither kit nor helper, and no rule keeps it out."""
    movements: tuple[int, ...]
    """Rows of a pattern that may be options: they enter whatever they serve."""

    def asks(self, at: int, row: Row) -> bool:
        """Say if today decides on the row: it needs kit, or a helper."""
        return not self.shut[at] and (row.needs_kit or self.helpers[at] != "")


def doors_of(rows: list[Row], kinds: list[str]) -> Doors:
    """Return what can be told beforehand, by level and rule."""
    shut, movements = [], []
    for at, (row, kind) in enumerate(zip(rows, kinds, strict=True)):
        ruled = RULE if kind and not row.needs_kit else 0
        shut.append(LEVEL if row.too_hard else ruled)
        if row.patterned and not shut[at] and not kind:
            movements.append(at)
    helpers = [(row.drill.helper or "") if row.drill.aim == "practice" else "" for row in rows]
    asked = zip(rows, kinds, helpers, strict=True)
    return Doors(
        shut=tuple(shut),
        kinds=tuple(kinds),
        helpers=tuple(helpers),
        free=tuple([not (row.needs_kit or kind or helper) for row, kind, helper in asked]),
        movements=tuple(movements),
    )


class Outside:
    """What keeps rows out before their doses are looked at, and the best that each reason did."""

    def __init__(self, reasons: list[int]) -> None:
        """`reasons` are by row, as places in `REASONS`."""
        self.reasons = reasons
        self.counts = [0] * len(REASONS)
        """By reason the rows of any worth that it keeps out; those that are apart do not count."""
        self.most = [0] * len(REASONS)
        """By reason the most worth among them."""
        self.first = [0] * len(REASONS)
        """The first row of that worth."""


class Kit(Frozen, frozen=True, kw_only=True):
    """All things that drills need, as bits."""

    bit: Mapping[str, int]
    """Of each thing."""
    ways: tuple[tuple[int, ...], ...]
    """By row the things of each way of doing the drill; none where it needs no kit."""

    def missing(self, kit: frozenset[str]) -> int:
        """Return the bits of what is not there."""
        there = sum([self.bit.get(one, 0) for one in kit])
        return ((1 << len(self.bit)) - 1) & ~there


def _kit(graph: Graph) -> Kit:
    things = sorted({one for d in graph.drills.values() for way in d.kit for one in way})
    bit = {one: 1 << n for n, one in enumerate(things)}
    # a drill whose first way needs nothing needs no kit
    ways = [drill.kit if drill.kit[0] else () for drill in graph.drills.values()]
    return Kit(
        bit=bit,
        ways=tuple([tuple([sum([bit[one] for one in way]) for way in each]) for each in ways]),
    )


KIT_OF = Keeper(_kit)
