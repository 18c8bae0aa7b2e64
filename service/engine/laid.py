"""What was laid out for today: the problem, what its options are, and the drills that are none.

Apart from the laying because most of this is only told when it is asked for: a plan names the
best drill that each reason kept out, a trace names all of them.
"""

from collections.abc import Mapping

from service.engine.bars import held_back, lacking
from service.engine.doors import KIT, LEVEL, REASONS, RULE, Outside
from service.engine.frame import Closure, Frame
from service.engine.rows import Fitting, Row
from service.engine.sides import sides_of
from service.engine.table import Table
from service.model.answer import SideDose
from service.model.choice import Problem
from service.model.graph import DoseOffer
from service.model.quantities import LeftOutReason, Side
from service.model.records import Leaf


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


class Held:
    """A dose that may be chosen: its row, the side that goes first, and what it adds alone."""

    def __init__(self, at: int, row: Row, fitting: Fitting, weaker: Side, worth: int) -> None:
        self.at = at
        self.row = row
        self.fitting = fitting
        self.weaker: Side = weaker
        self.worth = worth


class Lost(Leaf, frozen=True, kw_only=True):
    """The drill of most worth that one reason kept out, and how many of any worth it did."""

    drill: str
    detail: str
    worth: int
    count: int


class Laid:
    """Today's options as a table for the search, and what is needed to name the others.

    Rows are those of the shelf. `worths` are by row; `apart` are the rows that safety, wish or
    setting keep out. Of the others, `outside` tells what keeps them out before their doses are
    looked at; then the `late` found no place, and the `gone` another always replaces.
    """

    def __init__(
        self,
        *,
        frame: Frame,
        closed: Mapping[str, Closure],
        table: Table,
        held: tuple[Held, ...],
        worths: list[int],
        apart: frozenset[int],
        outside: Outside,
        late: dict[int, tuple[LeftOutReason, str]],
        gone: dict[int, tuple[int, str]],
    ) -> None:
        self.frame = frame
        self.closed = closed
        self.table = table
        self.held = held
        """What each option is."""
        self.worths = worths
        self.apart = apart
        self.outside = outside
        self.late = late
        self.gone = gone
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
        drill, portion = held.row.drill, held.fitting.portion
        dose = portion.dose
        return Offered(
            drill=drill.id,
            dose=dose,
            short=portion.short,
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
        if at in self.late:
            return self.late[at]
        if at in self.gone:
            return "outscored", self.gone[at][1]
        frame, apart, code = self.frame, at in self.apart, self.outside.reasons[at]
        doors = frame.doors
        if apart or (not code and doors.asks(at, row)):
            reason = held_back(frame, row, self.closed.get(row.drill.id))
            return reason or ("outscored", "")
        if code == LEVEL:
            return "level", row.drill.level
        if code == KIT:
            return "kit", lacking(frame, row)
        if code == RULE:
            return "rule", frame.shelf.rules[doors.kinds[at] or "helper_then_plain"].id
        return "outscored", ""

    def lost(self, taken: frozenset[str]) -> dict[LeftOutReason, Lost]:
        """Return for each reason the best drill that it kept out, `taken` being in the session.

        Drills that serve nothing that was found are not counted. Ties: the first by id.
        """
        shelf, worths, outside = self.frame.shelf, self.worths, self.outside
        found = _Losses()
        for code, reason in enumerate(REASONS):
            count = outside.counts[code]
            if reason is not None and count:
                found.add(reason, outside.first[code], outside.most[code], count)
        chosen = {shelf.number[drill] for drill in taken}
        # the doses of a row stand side by side
        most, first, count, counted = 0, 0, 0, -1
        for held in self.held:
            at, worth = held.at, held.worth
            if worth <= 0 or at in chosen:
                continue
            if worth > most:
                most, first = worth, at
            if at != counted:
                count, counted = count + 1, at
        found.add("outscored", first, most, count)
        for at, (worth, _) in self.gone.items():
            found.add("outscored", at, worth, 1)
        for at, (reason, _) in self.late.items():
            found.add(reason, at, worths[at], 1)
        for at in self.apart:
            found.add(self._why(at, shelf.rows[at])[0], at, worths[at], 1)
        lost = {}
        for reason, worth in found.most.items():
            at = found.first[reason]
            row = shelf.rows[at]
            # what the rule of scores keeps out without another drill has no detail
            told = reason != "outscored" or at in self.gone
            lost[reason] = Lost(
                drill=row.drill.id,
                detail=self._why(at, row)[1] if told else "",
                worth=worth,
                count=found.counts[reason],
            )
        return lost


class _Losses:
    """By reason the row of most worth, and how many of any worth there are."""

    def __init__(self) -> None:
        self.most: dict[LeftOutReason, int] = {}
        self.first: dict[LeftOutReason, int] = {}
        self.counts: dict[LeftOutReason, int] = {}

    def add(self, reason: LeftOutReason, at: int, worth: int, count: int) -> None:
        """Add rows of which `at` has most worth, the first by id of equal ones."""
        if worth <= 0:
            return
        most = self.most.get(reason, 0)
        self.counts[reason] = self.counts.get(reason, 0) + count
        if worth > most or (worth == most and at < self.first[reason]):
            self.most[reason] = worth
            self.first[reason] = at
