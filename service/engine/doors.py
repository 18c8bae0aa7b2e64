"""What can be told of all drills at once: those that are shut beforehand, and what kit they need.

Apart from the shelf because the kit of a drill depends on neither level nor target.
"""

from collections.abc import Mapping, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.engine.kept import Keeper
from service.engine.rows import Row
from service.model.graph import Graph
from service.model.quantities import LeftOutReason
from service.model.records import Frozen

Flags: TypeAlias = NDArray[np.bool_]
"""By row of the shelf."""

Numbers: TypeAlias = NDArray[np.int64]

Codes: TypeAlias = NDArray[np.int8]

REASONS: tuple[LeftOutReason | None, ...] = (None, "level", "rule", "kit", "outscored")
"""Why a row is kept out before its dose is looked at: a place here fits into a byte."""
LEVEL, RULE, KIT, OUTSCORED = np.int8(1), np.int8(2), np.int8(3), np.int8(4)

WORD = 64
"""Bits of a word."""


class Ways(Frozen, frozen=True, kw_only=True):
    """The kit that each way of doing a drill needs, for all drills that need any."""

    rows: Numbers
    """The rows that need kit."""
    starts: Numbers
    """Where the ways of each begin."""
    needs: NDArray[np.uint64]
    """(words, ways): the kit in bits, 64 things a word."""
    bit: Mapping[str, int]
    """Of each thing."""

    def lacking(self, kit: frozenset[str], count: int) -> Flags:
        """Say of each of so many rows if every way of doing it needs kit that is not there."""
        found = np.zeros(count, dtype=np.bool_)
        if not len(self.rows):
            return found
        there = sum([self.bit.get(one, 0) for one in kit])
        short = np.zeros(self.needs.shape[1], dtype=np.bool_)
        for n, needs in enumerate(self.needs):
            missing = ~(there >> WORD * n) & (1 << WORD) - 1
            short |= (needs & np.uint64(missing)) != 0
        found[self.rows] = np.logical_and.reduceat(short, self.starts)
        return found


class Doors(Frozen, frozen=True, kw_only=True):
    """The rows as one kind of verdict sees them: what is known of each before the screen is."""

    open: Flags
    """Those that nothing keeps out beforehand."""
    patterned: Flags
    """Of these, those of a pattern, which enter whatever they serve."""
    unpatterned: Flags
    """Of these, the others: they enter where they earn their step."""
    asking: Flags
    """Of these, those that need kit, or a helper that must have helped: today decides."""
    ruled: Flags
    """Of these, those that a rule keeps out, kit or not, unless their helper helps: kit is asked
    for first."""
    helped: Mapping[str, Flags]
    """Of these, by helper the practice that no other rule keeps out."""
    kinds: Sequence[str]
    """By row the kind of the rule that keeps it out, empty where none does."""
    reasons: Codes
    """By row the reason that keeps it out of every session, as a place in `REASONS`."""


def doors_of(rows: Sequence[Row], kinds: Sequence[str]) -> Doors:
    """Return what can be told beforehand, by level and rule; kit is asked for before any rule."""
    too_hard = np.array([row.too_hard for row in rows])
    needs_kit = np.array([row.needs_kit for row in rows])
    patterned = np.array([row.place.pattern >= 0 for row in rows])
    helpers = [(row.drill.helper or "") if row.drill.aim == "practice" else "" for row in rows]
    barred = np.array([kind != "" for kind in kinds])
    opened = ~too_hard & (~barred | needs_kit)
    helper = np.array(helpers)
    return Doors(
        open=opened,
        patterned=opened & patterned,
        unpatterned=opened & ~patterned,
        asking=opened & (needs_kit | (helper != "")),
        ruled=opened & (barred | (helper != "")),
        helped={one: opened & ~barred & (helper == one) for one in sorted(set(helpers)) if one},
        kinds=kinds,
        reasons=LEVEL * too_hard + RULE * (~opened & ~too_hard),
    )


def _ways(graph: Graph) -> Ways:
    """Return the kit of all ways; a drill with a way that needs none needs no kit."""
    rows: list[int] = []
    starts: list[int] = []
    needs: list[int] = []
    things = sorted({one for d in graph.drills.values() for way in d.kit for one in way})
    bit = {one: 1 << n for n, one in enumerate(things)}
    for n, drill in enumerate(graph.drills.values()):
        if drill.kit[0]:
            rows.append(n)
            starts.append(len(needs))
            needs += [sum([bit[one] for one in way]) for way in drill.kit]
    words = [
        [way >> first & (1 << WORD) - 1 for way in needs] for first in range(0, len(bit), WORD)
    ]
    return Ways(
        rows=np.array(rows, dtype=np.int64),
        starts=np.array(starts, dtype=np.int64),
        needs=np.array(words, dtype=np.uint64).reshape(len(words), len(needs)),
        bit=bit,
    )


WAYS = Keeper(_ways)
