"""Each session of a series is the best one given the earlier ones: what is left of the weights
and what is open are worked out anew from the earlier sessions, the optimum by OR-tools and by
plain enumeration."""

from collections.abc import Iterator
from fractions import Fraction
from math import floor
from random import Random

import msgspec
import pytest

from service.engine.decide import Decided, decide, wanted_of
from service.engine.options import Wanted, lay
from service.engine.series.course import Day, Week, course_of
from service.engine.series.moves import Programme
from service.engine.series.pace import pace_of
from service.model.choice import Problem
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.shipped import examples
from tests.choice_cases import best_by_enumeration, broken_rules, returns, value_of
from tests.held import rule
from tests.strategies import random_screen
from tests.truth.test_choose import best_by_solver

SEEDS = range(7000, 7080)
MICRO = 1_000_000
SHIPPED = tuple(msgspec.json.decode(body, type=Screen) for body in examples().values())
SMALL = 13
"""Options up to which every set is tried."""


class Replay:
    """The state of a series, rebuilt from its sessions and the records alone."""

    def __init__(self, decided: Decided, graph: Graph) -> None:
        assert decided.weighed is not None
        self.graph = graph
        self.screen = decided.screen
        self.closed = decided.safety.closed
        self.wanted = wanted_of(decided.reading.target or "", decided.weighed.weighing)
        self.ladder = {rung: one.id for one in graph.ladders.values() for rung in one.rungs}
        pace = pace_of(graph, decided.screen.client.level)
        self.astray = Programme(decided, graph, pace, self.wanted).astray
        self.known = set(decided.screen.recent)
        self.programme: set[str] = set()
        self.done: list[tuple[int, int, str]] = []
        """(week, day, drill)"""
        self.given: list[tuple[int, int, int]] = []
        """(week, variable, part of the week's dose)"""

    def name(self, drill: str) -> str:
        return self.ladder.get(drill, drill)

    def dose(self, drill: str) -> int:
        return self.graph.doses[self.graph.drills[drill].dose].times_a_week

    def main(self, drill: str) -> str:
        return sorted((-t.effect, t.cause) for t in self.graph.drills[drill].trains)[0][1]

    def begin(self, week: Week) -> None:
        for move in week.moves:
            if move.code != "rung_waits":
                self.programme = self.programme - {move.was} | {move.drill}

    def left(self, week: int) -> tuple[int, ...]:
        """Return w * (1 - r(part of the week's dose so far)) for every cause."""
        doses = [0] * len(self.wanted.weights)
        for then, variable, part in self.given:
            if then == week:
                doses[variable] += part
        return tuple(
            floor(Fraction(w * (MICRO - returns(self.graph.curve, d)), MICRO))
            for w, d in zip(self.wanted.weights, doses, strict=True)
        )

    def is_open(self, drill: str, week: int, day: int) -> bool:
        """Say if the rules of the weeks leave the drill open on that day."""
        rest = rule(self.graph, "rest_days")
        if week > 1 and drill not in self.programme:
            return False
        if week == 1 and drill not in self.programme:
            begun = {self.name(other) for other in self.programme}
            if drill in self.astray or self.name(drill) in begun:
                return False
        same = [(w, d) for w, d, one in self.done if self.name(one) == self.name(drill)]
        if sum(w == week for w, _ in same) >= self.dose(drill):
            return False
        if self.dose(drill) > rest["up_to_times_a_week"]:
            return True
        if any(day - d < rest["days"] for _, d in same):
            return False
        return not any(
            day - d < rest["days"]
            and self.graph.drills[one].aim == self.graph.drills[drill].aim == "control"
            and self.main(one) == self.main(drill)
            for _, d, one in self.done
        )

    def problem(self, week: int, day: int) -> tuple[Wanted, Problem, tuple[str, ...]]:
        """Return what a plan would choose from today, were only the open drills wanted."""
        wanted = msgspec.structs.replace(self.wanted, weights=self.left(week), lean=self.lean(week))
        shut = {drill for drill in self.graph.drills if not self.is_open(drill, week, day)}
        screen = msgspec.structs.replace(
            self.screen,
            avoid=tuple(sorted(shut | set(self.screen.avoid))),
            recent=tuple(sorted(self.known)),
        )
        laid = lay(self.graph, screen, self.closed, wanted)
        return wanted, laid.problem, tuple(one.drill for one in laid.offered)

    def lean(self, week: int) -> tuple[int, ...]:
        left = self.left(week)
        return tuple(
            0
            if not w
            else (lean > 0) * (abs(lean) * rest // w) - (lean < 0) * (abs(lean) * rest // w)
            for lean, w, rest in zip(self.wanted.lean, self.wanted.weights, left, strict=True)
        )

    def take(self, week: int, made: Day) -> None:
        drills = [one.drill for _, one in made.picked()]
        self.done += [(week, made.day, drill) for drill in drills]
        self.known.update(drills)
        self.programme.update(drills)
        for _, one in made.picked():
            for variable, effect in one.dose.effects:
                self.given.append((week, variable, floor(Fraction(effect, self.dose(one.drill)))))


def replayed(
    screen: Screen, graph: Graph, weeks: int, sessions: int
) -> Iterator[tuple[Problem, Day]]:
    """Yield each session with the problem that the earlier ones leave it."""
    decided = decide(screen, graph)
    course = course_of(decided, graph, weeks, sessions)
    if not course:
        return
    replay = Replay(decided, graph)
    for week in course:
        replay.begin(week)
        for made in week.days:
            wanted, problem, drills = replay.problem(week.week, made.day)
            assert made.problem.weights[:-1] == tuple(
                0 if graph.causes[c].mode == "build" else w
                for c, w in zip(graph.causes, wanted.weights, strict=True)
            )
            assert [one.drill for one in made.offered] == list(drills)
            assert sizes(made.problem) == sizes(problem)
            yield problem, made
            replay.take(week.week, made)


def sizes(problem: Problem) -> list[tuple[int, int, tuple[tuple[int, int], ...]]]:
    return [(one.drill, one.dose, one.effects) for one in problem.options]


@pytest.mark.parametrize("part", range(2))
def test_every_session_has_the_value_that_a_solver_proves_given_the_earlier_ones(
    graph: Graph, part: int
) -> None:
    proven = kept = 0
    for seed in SEEDS[part::2]:
        screen = random_screen(graph, seed)
        if seed < SEEDS[0] + len(SHIPPED):
            screen = msgspec.structs.replace(SHIPPED[seed - SEEDS[0]], minutes=12)
        for problem, made in replayed(screen, graph, 4 + seed % 3, 1 + seed % 7):
            limits, own = problem.limits, made.problem.limits
            assert own.ends_in <= limits.ends_in
            assert msgspec.structs.replace(own, ends_in=limits.ends_in) == limits
            chosen = made.choice.chosen
            assert made.choice.value == value_of(made.problem, chosen), f"seed {seed}"
            assert broken_rules(made.problem, chosen) == [], f"seed {seed}"
            # identical problems are solved once by the solver too
            assert made.choice.value == proven_value(made.problem), f"seed {seed} day {made.day}"
            proven += 1
            kept += own.ends_in != limits.ends_in
    assert proven > 200
    print(proven, "sessions proven,", kept, "of them kept to today's ending")


_proven: dict[bytes, int] = {}


def proven_value(problem: Problem) -> int:
    key = msgspec.msgpack.encode(problem, order="deterministic")
    if key not in _proven:
        _proven[key] = best_by_solver(problem) if problem.options else 0
    return _proven[key]


def test_small_sessions_are_the_very_set_that_enumeration_finds(graph: Graph) -> None:
    tried = 0
    for seed in SEEDS:
        base = random_screen(graph, seed)
        few = Random(seed).sample(list(graph.drills), len(graph.drills) // 12)
        wanted = {*few, *(d.id for d in graph.drills.values() if d.pattern == base.target)}
        screen = msgspec.structs.replace(base, avoid=tuple(sorted(graph.drills.keys() - wanted)))
        seen: set[bytes] = set()
        for _, made in replayed(screen, graph, 5, 1 + seed % 7):
            key = msgspec.msgpack.encode(made.problem, order="deterministic")
            if len(made.problem.options) > SMALL or key in seen:
                continue
            seen.add(key)
            value, best = best_by_enumeration(made.problem)
            assert (made.choice.value, frozenset(made.choice.chosen)) == (value, best), f"{seed}"
            tried += bool(best)
    assert tried > 100


def test_a_day_without_a_session_could_not_have_had_one(graph: Graph) -> None:
    free = 0
    for seed in SEEDS:
        screen = random_screen(graph, seed)
        decided = decide(screen, graph)
        course = course_of(decided, graph, 2, 7)
        if not course:
            continue
        replay = Replay(decided, graph)
        for week in course:
            replay.begin(week)
            by_day = {made.day: made for made in week.days}
            for day in range(7 * week.week - 6, 7 * week.week + 1):
                if day in by_day:
                    replay.take(week.week, by_day[day])
                    continue
                _, problem, _ = replay.problem(week.week, day)
                assert not any(problem.weights[:-1]) or proven_value(problem) == 0
                free += 1
    assert free > 10


def test_the_first_session_is_the_plans_own_where_every_ladder_is_known(graph: Graph) -> None:
    same = 0
    for seed in SEEDS:
        base = random_screen(graph, seed)
        screen = msgspec.structs.replace(base, recent=tuple(graph.drills))
        decided = decide(screen, graph)
        course = course_of(decided, graph, 1, 1)
        if not course:
            continue
        assert decided.weighed is not None and decided.weighed.laid is not None
        assert decided.weighed.choice is not None
        first = [one.drill for _, one in course[0].days[0].picked()]
        laid, choice = decided.weighed.laid, decided.weighed.choice
        assert first == [laid.offered[at].drill for at in choice.chosen], f"seed {seed}"
        same += 1
    assert same > 10
