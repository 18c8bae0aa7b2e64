"""The drills of the series: which are begun, how long, and what takes their place when.

Apart from the course because drills move at the start of a week, and sessions are chosen by day.
"""

from typing import Literal

import msgspec
from msgspec import Struct

from service.engine.decide import Decided
from service.engine.options import Laid, Wanted, lay
from service.engine.series.pace import Pace
from service.model.graph import Graph
from service.model.knowledge import DrillRecord

Waits = Literal["asked", "caution", "kit", "level", "room", "setting", "worth"]


class Move(Struct, frozen=True, kw_only=True):
    """What changes at the start of a week. `drill` is what is done from now on.

    For `rung_waits` it is the next rung, which cannot be taken for the reason `waits`; for
    `helper_away` the plain form that stays.
    """

    code: Literal["helper_away", "rung_up", "rung_waits", "swapped"]
    drill: str
    was: str
    waits: Waits | None = None


def waiting(move: Move, waits: Waits) -> Move:
    """Return that the next rung of a move up waits."""
    return Move(code="rung_waits", drill=move.drill, was=move.was, waits=waits)


class DrillFacts(Struct, frozen=True, kw_only=True, gc=False):
    """What the weeks need to know of a drill."""

    ladder: str
    """Of its ladder, or of itself where it stands alone."""
    times_a_week: int
    rests: tuple[str, ...]
    """What must have rested: its ladder, and control work on the cause it serves most."""
    main: str
    """The cause it serves most."""


class Programme:
    """What has been begun. In the first week everything is open, but one rung of a ladder."""

    def __init__(self, decided: Decided, graph: Graph, pace: Pace, wanted: Wanted) -> None:
        self.graph = graph
        self.pace = pace
        self.wanted = wanted
        self.screen = decided.screen
        self.closed = decided.safety.closed
        self.spent: set[str] = set()
        """Drills that made room for another."""
        self.rungs = {r: one.rungs for one in graph.ladders.values() for r in one.rungs}
        self.facts = {drill.id: self._facts(drill) for drill in graph.drills.values()}
        self.astray = self._astray()
        """Rungs on which a ladder does not begin."""
        self.begun: set[str] = set()
        self.open = True
        """Until the first week is over."""
        self.weeks_on: dict[str, int] = {}
        self.times_on: dict[str, int] = {}
        self.shut: frozenset[str] = frozenset()
        self.watched: tuple[str, ...] = ()
        """The drills that are not shut."""
        self._shut()

    def begin(self, drills: list[str]) -> None:
        """Take the drills of a session in; the other rungs of their ladders shut."""
        fresh = [drill for drill in drills if drill not in self.begun]
        if fresh:
            self.begun.update(fresh)
            self._shut()

    def close_week(self, drills: list[str], *, counts: bool) -> None:
        """Count a week's drills, one entry for each time; nothing new begins after the first."""
        if counts:
            for drill in drills:
                self.times_on[drill] = self.times_on.get(drill, 0) + 1
            for drill in set(drills):
                self.weeks_on[drill] = self.weeks_on.get(drill, 0) + 1
        if self.open:
            self.open = False
            self._shut()

    def due(self) -> tuple[list[Move], list[Move]]:
        """Return what moves at the start of a week, and the moves up, which may find no room."""
        moves: list[Move] = []
        ups: list[Move] = []
        for drill in sorted(self.begun):
            move = self._due(drill)
            if move is not None:
                (ups if move.code == "rung_up" else moves).append(move)
        worth = self._worths(self.begun | {move.drill for move in ups}) if ups else {}
        held = [self._too_little(move, worth) for move in ups]
        moves += [
            waiting(move, waits) for move, waits in zip(ups, held, strict=True) if waits is not None
        ]
        return moves, [move for move, waits in zip(ups, held, strict=True) if waits is None]

    def take(self, move: Move) -> None:
        """Let a drill take the place of another."""
        if move.code != "rung_waits":
            self.begun.discard(move.was)
            self.begun.add(move.drill)
            self.spent.add(move.was)
            self._shut()

    def take_back(self, move: Move) -> None:
        """Undo `take` for a move up."""
        self.begun.discard(move.drill)
        self.begun.add(move.was)
        self.spent.discard(move.was)
        self._shut()

    def _facts(self, drill: DrillRecord) -> DrillFacts:
        main = min(drill.trains, key=lambda served: (-served.effect, served.cause)).cause
        ladder = self.rungs.get(drill.id, (drill.id,))[0]
        control = (f"{main}|control",) if drill.aim == "control" else ()
        return DrillFacts(
            ladder=ladder,
            times_a_week=self.graph.doses[drill.dose].times_a_week,
            rests=(ladder, *control),
            main=main,
        )

    def _astray(self) -> frozenset[str]:
        """Return the rungs on which a ladder does not begin.

        A known one begins no higher than its hardest known rung; an unknown one so far below
        the hardest usable rung as the rule says, and lower where that gives no option today.
        """
        first: dict[str, tuple[str, ...]] = {}
        astray: set[str] = set()
        for ladder in self.graph.ladders.values():
            usable = [r for r in ladder.rungs if self._held(r) is None and not self._helped(r)]
            known = [rung for rung in ladder.rungs if rung in self.screen.recent]
            if known:
                astray.update(ladder.rungs[ladder.rungs.index(known[-1]) + 1 :])
                continue
            begins = usable[: max(1, len(usable) - self.pace.rungs_below)][-1:]
            first |= dict.fromkeys(begins, ladder.rungs)
        offered = {one.drill for one in self._laid(set(first)).offered}
        for rung, rungs in first.items():
            at = rungs.index(rung)
            astray.update(rungs[at + 1 :])
            if rung in offered:
                astray.update([lower for lower in rungs[:at] if not self._helped(lower)])
        return frozenset(astray)

    def _helped(self, drill: str) -> bool:
        return self.graph.drills[drill].helper is not None

    def _shut(self) -> None:
        """Shut what is not to be done: after the first week all but the programme."""
        ladders = {self.facts[drill].ladder for drill in self.begun}
        self.watched = tuple(
            [
                drill
                for drill, facts in self.facts.items()
                if drill in self.begun
                or (self.open and facts.ladder not in ladders and drill not in self.astray)
            ]
        )
        self.shut = frozenset(self.facts.keys() - set(self.watched))

    def _due(self, drill: str) -> Move | None:
        """Return what the drill's time calls for, if it has come."""
        record = self.graph.drills[drill]
        weeks, pace = self.weeks_on.get(drill, 0), self.pace
        following = self._next_rung(drill)
        if self._fades(record) and weeks >= pace.weeks_with_helper:
            plain = self._plain_of(record)
            if plain is not None:
                return Move(code="helper_away", drill=plain, was=drill)
        is_due = weeks >= pace.weeks_on_rung[record.aim]
        if is_due and self.times_on[drill] >= pace.sessions_on_rung and following is not None:
            waits = self._held(following)
            if waits is None:
                return Move(code="rung_up", drill=following, was=drill)
            return Move(code="rung_waits", drill=following, was=drill, waits=waits)
        if weeks >= pace.swap_after and record.aim in ("range", "control"):
            other = self._other(drill)
            if other is not None:
                return Move(code="swapped", drill=other, was=drill)
        return None

    def _next_rung(self, drill: str) -> str | None:
        """Return the next harder rung. Help is no rung, nor is what the room has no kit for."""
        rungs = self.rungs.get(drill, (drill,))
        after = rungs[rungs.index(drill) + 1 :]
        plain = [rung for rung in after if not self._helped(rung)]
        with_kit = [rung for rung in plain if self._held(rung) != "kit"]
        return next(iter(with_kit or plain), None)

    def _held(self, drill: str) -> Waits | None:
        """Return what keeps the drill out of every session, as a plan would say it."""
        record, screen = self.graph.drills[drill], self.screen
        ranks = ("new", "regular", "advanced")
        if drill in self.closed:
            return "caution"
        if drill in screen.avoid:
            return "asked"
        if screen.setting == "remote" and not record.remote:
            return "setting"
        if ranks.index(record.level) > ranks.index(screen.client.level):
            return "level"
        if not any(set(way) <= set(screen.kit) for way in record.kit):
            return "kit"
        return None

    def _too_little(self, move: Move, worth: dict[str, int]) -> Waits | None:
        """Say why a rung that may be done is not worth going up to."""
        if move.drill not in worth:
            return "room"
        least = self.pace.swap_percent * worth.get(move.was, 0)
        return "worth" if 100 * worth[move.drill] < least else None

    def _worths(self, drills: set[str]) -> dict[str, int]:
        """Return what each drill adds alone, of those that are options one by one."""
        worth: dict[str, int] = {}
        for drill in drills:
            for one in self._laid({drill}).offered:
                worth[drill] = max(one.worth, worth.get(drill, 0))
        return worth

    def _fades(self, record: DrillRecord) -> bool:
        """Say if the drill's help is to be taken away; a stance that suits the client stays."""
        main = self.graph.causes[self.facts[record.id].main]
        return record.helper is not None and main.mode not in ("build", "stance")

    def _plain_of(self, record: DrillRecord) -> str | None:
        """Return the drill of the programme that is the same movement without help."""
        for drill in sorted(self.begun):
            other = self.graph.drills[drill]
            if other.pattern == record.pattern and other.helper is None:
                return drill
        return None

    def _other(self, drill: str) -> str | None:
        """Return the best drill of the same aim for the same cause, if it is worth enough."""
        facts, aim = self.facts[drill], self.graph.drills[drill].aim
        ladders = {self.facts[one].ladder for one in (*self.begun, *self.spent)}
        others = {
            other
            for other, of in self.facts.items()
            if of.main == facts.main
            and self.graph.drills[other].aim == aim
            and of.ladder not in ladders
            and other not in self.astray
        }
        own = self._worths({drill}).get(drill, 0)
        found = [
            (-one.worth, one.drill)
            for one in self._laid(others).offered
            if 100 * one.worth >= self.pace.swap_percent * own
        ]
        return min(found)[1] if found else None

    def _laid(self, drills: set[str]) -> Laid:
        """Return today's options of these drills alone."""
        screen = msgspec.structs.replace(
            self.screen,
            avoid=tuple(sorted(self.facts.keys() - drills | set(self.screen.avoid))),
            recent=tuple(sorted(self.facts)),
        )
        return lay(self.graph, screen, self.closed, self.wanted)
