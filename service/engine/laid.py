"""What was laid out for today: the problem, what its options are, and the drills that are none.

Apart from the laying because most of this is only told when it is asked for: a plan names the
best drill that each reason kept out, a trace names all of them.
"""

from collections.abc import Mapping

from service.engine.bars import held_back
from service.engine.doors import OUTSCORED, REASONS
from service.engine.exchange import Standing
from service.engine.frame import Closure, Frame
from service.engine.rows import Portion, Row
from service.engine.sides import sides_of
from service.engine.table import Table
from service.model.answer import SideDose
from service.model.choice import Option, Problem
from service.model.graph import DoseOffer
from service.model.quantities import LeftOutReason, Side
from service.model.records import Frozen, Leaf


class Barred(Leaf, frozen=True, kw_only=True):
    """A drill that is no option, with the first reason that holds.

    `detail` is an id or ids joined by ", ": the caution, the missing kit, the level it asks for,
    the rule, the seconds of its shortest dose, or (`outscored`) the drill that always does as
    well, empty where it would not even earn the price of a step. `worth` is what its full dose
    would add alone, in millionths, without the price of a step.
    """

    drill: str
    reason: LeftOutReason
    detail: str
    worth: int


class Offered(Leaf, frozen=True, kw_only=True):
    """What an option of the problem is: drill and dose, the kit to use, the sets by side."""

    drill: str
    dose: DoseOffer
    short: bool
    kit: tuple[str, ...]
    sides: tuple[SideDose, ...]
    worth: int
    """As for a barred drill."""


class Held(Leaf, frozen=True):
    """A dose that may be chosen: its row, the side that goes first, and what it adds alone."""

    at: int
    row: Row
    portion: Portion
    option: Option
    standing: Standing
    weaker: Side
    worth: int


class Lost(Leaf, frozen=True, kw_only=True):
    """The drill of most worth that one reason kept out, and how many of any worth it did."""

    drill: str
    detail: str
    worth: int
    count: int


class Laid(Frozen, frozen=True, kw_only=True):
    """Today's options as a table for the search, and what is needed to name the others.

    Rows are those of the shelf. `worths` are by row; `apart` are the rows that safety, wish or
    setting keep out. Of the others, `reasons` tells what keeps them out before their doses are
    looked at (a place in `doors.REASONS`); then the `late` found no place, and the `gone` another
    always replaces.
    """

    frame: Frame
    closed: Mapping[str, Closure]
    table: Table
    held: tuple[Held, ...]
    """What each option is."""
    worths: list[int]
    apart: frozenset[int]
    reasons: list[int]
    late: Mapping[int, tuple[LeftOutReason, str]]
    gone: Mapping[int, tuple[int, str]]
    """Row -> worth of the dose that was replaced, and the drill that replaces it."""

    @property
    def problem(self) -> Problem:
        """The problem of choosing."""
        return self.table.problem

    @property
    def offered(self) -> tuple[Offered, ...]:
        """What each option of the problem is, in the same order."""
        return tuple([self.offer(n) for n in range(len(self.held))])

    def offer(self, option: int) -> Offered:
        """Return what one option is."""
        held, frame = self.held[option], self.frame
        drill, dose = held.row.drill, held.portion.dose
        return Offered(
            drill=drill.id,
            dose=dose,
            short=held.portion.short,
            kit=next(tuple(way) for way in drill.kit if frame.kit.issuperset(way)),
            sides=sides_of(drill, dose.sets, frame.extra_sets, held.weaker),
            worth=held.worth,
        )

    @property
    def barred(self) -> tuple[Barred, ...]:
        """The drills that are no option, each with its first reason, by drill id."""
        rows, optional = self.frame.shelf.rows, {held.at for held in self.held}
        found = []
        for at, row in enumerate(rows):
            if at not in optional:
                worth, (reason, detail) = self.worths[at], self._why(at, row)
                if at in self.gone:
                    worth = self.gone[at][0]
                found.append(Barred(drill=row.drill.id, reason=reason, detail=detail, worth=worth))
        return tuple(found)

    def _why(self, at: int, row: Row) -> tuple[LeftOutReason, str]:
        """Return the first reason against a row that is no option."""
        doors = self.frame.doors
        if at in self.late:
            return self.late[at]
        if at in self.gone:
            return "outscored", self.gone[at][1]
        if self.reasons[at] != OUTSCORED and (at in self.apart or doors.asks(at, row)):
            reason = held_back(self.frame, row, self.closed.get(row.drill.id))
            if reason is not None:
                return reason
        if row.too_hard:
            return "level", row.drill.level
        if doors.kinds[at] and not row.needs_kit:
            return "rule", self.frame.shelf.rules[doors.kinds[at]].id
        return "outscored", ""

    def lost(self, taken: frozenset[str]) -> dict[LeftOutReason, Lost]:
        """Return for each reason the best drill that it kept out, `taken` being in the session.

        Drills that serve nothing that was found are not counted. Ties: the first by id.
        """
        rows, apart = self.frame.shelf.rows, self.apart
        best = [(0, 0)] * len(REASONS)
        counts = [0] * len(REASONS)
        reasons = self.reasons
        for at, worth in enumerate(self.worths):
            code = reasons[at]
            if worth and code and at not in apart:
                counts[code] += 1
                if worth > best[code][0]:
                    best[code] = (worth, -at)
        found: dict[LeftOutReason, list[tuple[int, int, int]]] = {}
        for code, reason in enumerate(REASONS):
            if reason is not None and counts[code]:
                found[reason] = [(*best[code], counts[code])]
        most: dict[int, int] = {}
        for held in self.held:
            if held.row.drill.id not in taken:
                most[held.at] = max(held.worth, most.get(held.at, 0))
        single: list[tuple[LeftOutReason, int, int]] = []
        single += [("outscored", at, worth) for at, worth in most.items()]
        single += [("outscored", at, worth) for at, (worth, _) in self.gone.items()]
        single += [(reason, at, self.worths[at]) for at, (reason, _) in self.late.items()]
        single += [(self._why(at, rows[at])[0], at, self.worths[at]) for at in apart]
        for reason, at, worth in single:
            found.setdefault(reason, []).append((worth, -at, int(worth > 0)))
        lost = {}
        for reason, ranked in found.items():
            worth, minus, _ = max(ranked)
            if worth > 0:
                row = rows[-minus]
                lost[reason] = Lost(
                    drill=row.drill.id,
                    detail=self._why(-minus, row)[1],
                    worth=worth,
                    count=sum([count for _, _, count in ranked]),
                )
        return lost
