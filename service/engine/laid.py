"""What was laid out for today: the problem, what its options are, and the drills that are none.

Apart from the laying because most of this is only told when it is asked for: a plan names the
best drill that each reason kept out, a trace names all of them.
"""

from collections.abc import Mapping

from msgspec import Struct

from service.engine.bars import held_back
from service.engine.frame import Closure, Frame
from service.engine.shelf import Barred, Portion, Row
from service.engine.sides import sides_of
from service.engine.table import Table
from service.model.answer import SideDose
from service.model.choice import Problem
from service.model.graph import DoseOffer
from service.model.quantities import LeftOutReason, Side


class Offered(Struct, frozen=True, kw_only=True, gc=False):
    """What an option of the problem is: drill and dose, the kit to use, the sets by side."""

    drill: str
    dose: DoseOffer
    short: bool
    kit: tuple[str, ...]
    sides: tuple[SideDose, ...]
    worth: int
    """As for a barred drill."""


class Held(Struct, frozen=True, gc=False):
    """A dose that may be chosen: its row, the side that goes first, and what it adds alone."""

    at: int
    row: Row
    portion: Portion
    weaker: Side
    worth: int


class Lost(Struct, frozen=True, kw_only=True, gc=False):
    """The drill of most worth that one reason kept out, and how many of any worth it did."""

    drill: str
    detail: str
    worth: int
    count: int


class Laid(Struct, frozen=True, kw_only=True):
    """Today's options as a table for the search, and what is needed to name the others.

    `worths` are by row of the shelf; `apart` are the rows that safety, wish or setting keep out;
    `late` and `gone` those that found no place, or that another always replaces.
    """

    frame: Frame
    closed: Mapping[str, Closure]
    table: Table
    held: tuple[Held, ...]
    """What each option is."""
    worths: list[int]
    apart: frozenset[int]
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
        late = self.late.get(at)
        if late is not None and late[0] != "kit":
            return late
        if at in self.gone:
            return "outscored", self.gone[at][1]
        if late is not None or at in self.apart or at in doors.asking:
            reason = held_back(self.frame, row, self.closed.get(row.drill.id))
            if reason is not None:
                return reason
        return doors.shut.get(at, ("outscored", ""))

    def lost(self, taken: frozenset[str]) -> dict[LeftOutReason, Lost]:
        """Return for each reason the best drill that it kept out, `taken` being in the session.

        Drills that serve nothing that was found are not counted. Ties: the first by id.
        """
        worths, rows, apart = self.worths, self.frame.shelf.rows, self.apart
        found: dict[LeftOutReason, list[tuple[int, int]]] = {}
        for at, (worth, _) in self.gone.items():
            found.setdefault("outscored", []).append((worth, -at))
        most: dict[int, int] = {}
        for held in self.held:
            if held.row.drill.id not in taken:
                most[held.at] = max(held.worth, most.get(held.at, 0))
        found.setdefault("outscored", []).extend([(worth, -at) for at, worth in most.items()])
        for at, (reason, _) in self.late.items():
            found.setdefault(reason, []).append((worths[at], -at))
        for at in apart:
            found.setdefault(self._why(at, rows[at])[0], []).append((worths[at], -at))
        for reason, shut in self.frame.doors.shut_by.items():
            found.setdefault(reason, []).extend(
                [(worths[at], -at) for at in shut if worths[at] and at not in apart]
            )
        best = {}
        for reason, ranked in found.items():
            worth, minus = max(ranked, default=(0, 0))
            if worth > 0:
                row = rows[-minus]
                best[reason] = Lost(
                    drill=row.drill.id,
                    detail=self._why(-minus, row)[1],
                    worth=worth,
                    count=sum([one > 0 for one, _ in ranked]),
                )
        return best
