"""The course of the weeks: what is open on each day, and the best session of it.

Apart from what is said of it because it is decided in numbers only. What is maximised: summed
over the weeks, the part of what was seen that each session addresses, given those before it.
A cause whose week has had D of its dose counts for w * (1 - r(D)) in the next session of that
week, where an effect e of a drill dosed for t times a week adds e / t to D. So the first session
is the plan's own; each later one is the optimum of the same exact problem with what is left.
A session never looks ahead: a longer series begins like the shorter one.
"""

from collections.abc import Iterator

import msgspec
from msgspec import Struct

from service.engine.choose import choose
from service.engine.decide import Decided, Weighed, wanted_of
from service.engine.exchange import returns
from service.engine.options import Laid, Offered, Wanted, lay
from service.engine.series.moves import DrillFacts, Move, Programme, waiting
from service.engine.series.pace import Pace, days_of, is_lighter, pace_of
from service.model.choice import Choice, Option, Problem
from service.model.graph import Graph
from service.model.quantities import MICRO

Key = tuple[frozenset[str], frozenset[str], tuple[int, ...]]
"""What a session depends on: barred drills, known drills, what is left of the weights."""


class Day(Struct, frozen=True, kw_only=True):
    """One session: the problem of its day, and the best of it."""

    day: int
    problem: Problem
    offered: tuple[Offered, ...]
    choice: Choice

    def picked(self) -> Iterator[tuple[Option, Offered]]:
        """Yield the options of the session in their order."""
        for at in self.choice.chosen:
            yield self.problem.options[at], self.offered[at]


class Week(Struct, frozen=True, kw_only=True):
    """A week: what moved at its start, and its sessions; days without one are free.

    `weeks_on` counts the full weeks of each drill of the programme before this one.
    """

    week: int
    lighter: bool
    moves: tuple[Move, ...]
    weeks_on: dict[str, int]
    days: tuple[Day, ...]


def course_of(decided: Decided, graph: Graph, weeks: int, sessions: int) -> tuple[Week, ...]:
    """Return the weeks; none where nothing is wanted or nothing fits.

    Ends before `weeks` where the rules plan no further for the verdict.
    """
    weighed = decided.weighed
    if weighed is None or weighed.laid is None or weighed.choice is None:
        return ()
    if not weighed.choice.chosen:
        return ()
    pace = pace_of(graph, decided.screen.client.level)
    last = min(weeks, pace.longest.get(decided.verdict, weeks))
    course = _Course(decided, weighed, weighed.laid, graph, pace)
    return tuple(course.week(week, sessions) for week in range(1, last + 1))


class _Course:
    """The state of a series: what has been begun, when it was done, and what is left."""

    def __init__(
        self, decided: Decided, weighed: Weighed, first: Laid, graph: Graph, pace: Pace
    ) -> None:
        self.screen = decided.screen
        self.closed = decided.safety.closed
        self.graph = graph
        self.pace = pace
        self.home = first.problem.limits.ends_in
        """Where today's session may end; the other days too, while the week has doses of it."""
        self.wanted = wanted_of(decided.reading.target or "", weighed.weighing)
        self.programme = Programme(decided, graph, pace, self.wanted)
        self.recent = frozenset(self.screen.recent)
        self.solved: dict[Key, tuple[Problem, tuple[Offered, ...], Choice]] = {}
        self.times: dict[str, int] = {}
        """Of each ladder in the week."""
        self.delivered = [0] * len(self.wanted.weights)
        self.told: set[str] = set()
        """Next rungs that were said to wait."""
        self.last_day: dict[str, int] = {}
        """Of each ladder, and of control work on each cause."""

    def week(self, week: int, sessions: int) -> Week:
        """Return the next week."""
        lighter = is_lighter(self.pace, week)
        moves = () if lighter else self._moves(week, sessions)
        weeks_on = dict(self.programme.weeks_on)
        days = self._days(week, sessions)
        drills = [one.drill for made in days for _, one in made.picked()]
        self.programme.close_week(drills, counts=not lighter)
        return Week(week=week, lighter=lighter, moves=moves, weeks_on=weeks_on, days=days)

    def _days(self, week: int, sessions: int) -> tuple[Day, ...]:
        """Return the sessions of a week, each chosen after those before it."""
        self.times = {}
        self.delivered = [0] * len(self.wanted.weights)
        days = []
        for day in days_of(week, sessions):
            made = self._day(day)
            if made.choice.chosen:
                days.append(made)
                self._done(made)
        return tuple(days)

    def _moves(self, week: int, sessions: int) -> tuple[Move, ...]:
        """Return what moves at the start of a week, by the drill whose place is taken.

        A harder rung is taken where the week holds it and still holds all else that was begun:
        otherwise it would cost another drill its place, and it waits for want of room.
        """
        moves, ups = self.programme.due()
        for move in moves:
            self.programme.take(move)
        before = self._tried(week, sessions) if ups else frozenset()
        for up in ups:
            self.programme.take(up)
            after = self._tried(week, sessions)
            if up.drill in after and before - after <= {up.was}:
                before = after
                moves.append(up)
            else:
                self.programme.take_back(up)
                moves.append(waiting(up, "room"))
        fresh = [one for one in moves if one.code != "rung_waits" or one.drill not in self.told]
        self.told.update([one.drill for one in moves if one.code == "rung_waits"])
        return tuple(sorted(fresh, key=lambda move: (move.was, move.code)))

    def _tried(self, week: int, sessions: int) -> frozenset[str]:
        """Return the drills of a week as it would be, and forget it."""
        known, last_day = self.recent, dict(self.last_day)
        days = self._days(week, sessions)
        self.recent, self.last_day = known, last_day
        return frozenset([one.drill for made in days for _, one in made.picked()])

    def _day(self, day: int) -> Day:
        wanted = self._left()
        barred = self._barred(day)
        key = (barred, self.recent, wanted.weights)
        if key not in self.solved:
            self.solved[key] = self._solve(barred, wanted)
        problem, offered, choice = self.solved[key]
        return Day(day=day, problem=problem, offered=offered, choice=choice)

    def _solve(
        self, barred: frozenset[str], wanted: Wanted
    ) -> tuple[Problem, tuple[Offered, ...], Choice]:
        """Return the day's problem as the plan would lay it, and its optimum."""
        screen = msgspec.structs.replace(
            self.screen,
            avoid=tuple(sorted(barred.union(self.screen.avoid))),
            recent=tuple(sorted(self.recent)),
        )
        laid = lay(self.graph, screen, self.closed, wanted)
        problem = self._ending(laid.problem)
        if not any(problem.weights[:-1]):
            return problem, laid.offered, Choice(chosen=(), value=0, seconds=0)
        return problem, laid.offered, choose(problem)

    def _ending(self, problem: Problem) -> Problem:
        """Return the problem, ending where today's session may if any open drill can end it.

        The layout asks for that only where a drill without kit is open, and a rung may need kit.
        Narrowing leaves what was left out of the options left out rightly: what could replace an
        option that ends a session is of the same movement and ends it too.
        """
        limits = problem.limits
        if limits.ends_in == self.home or not any(
            one.pattern in self.home and one.aim in limits.ends_by and not one.helper
            for one in problem.options
        ):
            return problem
        narrow = msgspec.structs.replace(limits, ends_in=self.home)
        return msgspec.structs.replace(problem, limits=narrow)

    def _left(self) -> Wanted:
        """Return what is wanted, less what the week's earlier sessions have addressed."""
        left = [MICRO - returns(self.graph.curve, done) for done in self.delivered]
        weights = zip(self.wanted.weights, left, strict=True)
        leans = zip(self.wanted.lean, left, strict=True)
        return msgspec.structs.replace(
            self.wanted,
            weights=tuple([weight * part // MICRO for weight, part in weights]),
            lean=tuple([_toward_zero(lean * part) for lean, part in leans]),
        )

    def _barred(self, day: int) -> frozenset[str]:
        """Return the drills that are not for this day: not begun, used up, or at rest."""
        programme = self.programme
        barred = set(programme.shut)
        for drill in programme.watched:
            facts = programme.facts[drill]
            given = self.times.get(facts.ladder, 0) >= facts.times_a_week
            if given or (facts.times_a_week <= self.pace.rests_up_to and self._rests(facts, day)):
                barred.add(drill)
        return frozenset(barred)

    def _rests(self, facts: DrillFacts, day: int) -> bool:
        least = self.pace.rest_days
        return any(day - self.last_day.get(name, -least) < least for name in facts.rests)

    def _done(self, made: Day) -> None:
        """Take a session into account."""
        drills = [one.drill for _, one in made.picked()]
        for _, one in made.picked():
            facts = self.programme.facts[one.drill]
            self.times[facts.ladder] = self.times.get(facts.ladder, 0) + 1
            for name in facts.rests:
                self.last_day[name] = made.day
            for variable, effect in one.dose.effects:
                self.delivered[variable] += effect // facts.times_a_week
        self.recent = self.recent.union(drills)
        self.programme.begin(drills)


def _toward_zero(product: int) -> int:
    """Return millionths of a product, so that left and right are treated alike."""
    return -(-product // MICRO) if product < 0 else product // MICRO
