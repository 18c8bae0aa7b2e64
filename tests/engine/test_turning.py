"""Turning points: each proven by planning again, and none smaller of its kind."""

import msgspec
import pytest

from service.engine.decide import decide
from service.engine.plan import plan
from service.engine.turning import (
    KINDS,
    ROOM,
    Gist,
    Variation,
    gist_of,
    turning_points,
    variations,
)
from service.engine.words import Words
from service.model.answer import Answer, TurningPoint
from service.model.graph import Graph
from service.model.screen import Options, Screen
from tests.strategies import random_screen, seeds, shuffled

SEEDS = seeds(600000, 40)
SEARCHED = seeds(600000, 6)


def points(screen: Screen, graph: Graph) -> tuple[TurningPoint, ...]:
    return turning_points(decide(screen, graph), graph, Words(graph, None), plan)


def gist(answer: Answer) -> Gist:
    lead = answer.causes[0] if answer.causes else None
    first = answer.session.steps[0].drill if answer.session else None
    return answer.verdict, (lead.cause, lead.side) if lead else None, first


def behind(point: TurningPoint, screen: Screen, graph: Graph) -> list[Variation]:
    """Return the changes of the screen that the point names."""
    return [
        v
        for v in variations(point.kind, screen, graph)
        if (v.was, v.becomes, v.distance, v.change)
        == (point.was, point.becomes, point.distance, point.change)
        and (v.seen.movement if v.seen else None) == point.movement
        and (v.seen.finding if v.seen else None) == point.finding
        and (v.seen.view if v.seen else None) == point.view
        and (v.measured.measure if v.measured else None) == point.measure
    ]


def test_every_turning_point_turns_the_plan_when_it_is_planned_again(graph: Graph) -> None:
    found = 0
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=seed % 2 == 0)
        now = gist(plan(screen, graph))
        for point in points(screen, graph):
            changed = [
                answer
                for v in behind(point, screen, graph)
                if (answer := plan(v.screen, graph)).decision == point.decision
            ]
            assert changed, f"seed {seed}: {point.kind} names no screen of its decision"
            then = gist(changed[0])
            cause = (point.cause, point.cause_side) if point.cause else None
            assert then == (point.verdict, cause, point.first_step), f"seed {seed}: {point}"
            differs = {
                name
                for name, a, b in zip(
                    ("verdict", "leading_cause", "first_step"), now, then, strict=True
                )
                if a != b
            }
            assert differs == set(point.turns) != set(), f"seed {seed}: {point}"
            found += 1
    assert found > len(SEEDS)


def test_no_smaller_change_of_its_kind_turns_the_plan(graph: Graph) -> None:
    searched = 0
    for seed in SEARCHED:
        screen = random_screen(graph, seed)
        now = gist(plan(screen, graph))
        by_kind = {point.kind: point for point in points(screen, graph)}
        for kind in KINDS:
            limit = by_kind[kind].distance if kind in by_kind else 10**9
            for variation in variations(kind, screen, graph):
                if variation.distance < limit:
                    then = gist(plan(variation.screen, graph))
                    assert then == now, f"seed {seed}: {kind} {variation.becomes}"
                    searched += 1
    assert searched > 100


def test_a_change_of_the_room_moves_no_belief(graph: Graph) -> None:
    for seed in SEARCHED:
        screen = random_screen(graph, seed)
        before = plan(screen, graph)
        for kind in sorted(ROOM):
            for variation in list(variations(kind, screen, graph))[:3]:
                after = plan(variation.screen, graph)
                assert after.causes == before.causes or "refer" in (before.verdict, after.verdict)


def test_the_order_of_the_screen_does_not_move_its_turning_points(graph: Graph) -> None:
    for seed in SEARCHED:
        screen = random_screen(graph, seed)
        assert points(screen, graph) == points(shuffled(screen, seed), graph), f"seed {seed}"


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_changes_one_thing_only(graph: Graph, kind: str) -> None:
    fields = {
        "grade": "observations",
        "kit": "kit",
        "level": "client",
        "measurement": "measurements",
        "minutes": "minutes",
        "setting": "setting",
        "side": "observations",
        "trial_result": "observations",
    }
    seen = 0
    for seed in SEEDS:
        screen = random_screen(graph, seed)
        for variation in variations(kind, screen, graph):  # type: ignore[arg-type]
            changed = {
                field
                for field in screen.__struct_fields__
                if getattr(screen, field) != getattr(variation.screen, field)
            }
            assert changed == {fields[kind]}, f"seed {seed}: {kind}"
            seen += 1
    assert seen > 0


def test_turning_points_come_only_when_asked_for(graph: Graph) -> None:
    screen = msgspec.structs.replace(random_screen(graph, SEEDS.start), options=Options())
    assert plan(screen, graph).turning_points == ()
    asked = msgspec.structs.replace(screen, options=Options(include=("turning_points",)))
    assert plan(asked, graph).turning_points == points(screen, graph)


def test_gists_of_decision_and_answer_agree(graph: Graph) -> None:
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=False)
        answer = plan(screen, graph)
        assert gist_of(decide(screen, graph), graph) == gist(answer), f"seed {seed}"
