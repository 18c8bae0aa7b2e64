"""Today's steps in words: their reasons, what was left out and why, and what comes afterwards."""

from typing import Any

import msgspec
import pytest

from service.engine.plan import plan
from service.model.answer import Answer
from service.model.graph import Graph
from service.model.screen import Client, Observation, Screen, Trial
from tests.strategies import random_screen

ORDER = ["caution", "pain", "asked", "setting", "level", "kit", "rule", "minutes", "outscored"]
FAILED = tuple(
    Trial(change=change, result="same") for change in ("spoken_cue", "stance_wider", "toes_out")
)


def answered(graph: Graph, side: str = "both", **fields: Any) -> Answer:
    seen = Observation(
        movement="squat",
        view="front",
        finding="knee_in",
        side=side,  # type: ignore[arg-type]
        grade="marked",
        trials=FAILED,
    )
    client = Client(alerts=(), conditions=(), pain=())
    return plan(Screen(**{"observations": (seen,), "client": client, **fields}), graph)


def test_each_reason_of_what_was_left_out_comes_once_and_in_order(graph: Graph) -> None:
    found = set()
    for seed in range(600, 680):
        answer = plan(random_screen(graph, seed, healthy=False), graph)
        reasons = [one.reason for one in answer.left_out]
        assert reasons == sorted(set(reasons), key=ORDER.index), f"seed {seed}"
        steps = answer.session.steps if answer.session else ()
        taken = {step.drill for step in steps}
        assert not taken & {one.drill for one in answer.left_out}, f"seed {seed}"
        assert all(one.count > 0 and one.detail for one in answer.left_out), f"seed {seed}"
        found |= set(reasons)

    assert found >= set(ORDER) - {"asked"}


def test_every_step_says_what_it_is_for_and_how(graph: Graph) -> None:
    for seed in range(680, 720):
        answer = plan(random_screen(graph, seed), graph)
        for step in answer.session.steps if answer.session else ():
            assert step.because, f"seed {seed}: {step.drill}"
            assert step.cues, f"seed {seed}: {step.drill}"
            assert step.good_looks_like, f"seed {seed}: {step.drill}"
            assert step.tempo or step.hold_s, f"seed {seed}: {step.drill}"
            assert step.reps, f"seed {seed}: {step.drill}"


def test_the_side_that_shows_more_goes_first_with_one_more_set(graph: Graph) -> None:
    for side in ("left", "right"):
        answer = answered(graph, side)
        assert answer.session
        sided = [step.sides for step in answer.session.steps if len(step.sides) == 2]
        assert sided
        assert all(s[0].side == side and s[0].sets == s[1].sets + 1 for s in sided)


def test_nothing_fits_into_no_time_and_that_is_said(graph: Graph) -> None:
    avoid: tuple[str, ...] = ()
    answer = answered(graph, minutes=1)
    while answer.session:
        avoid += tuple(step.drill for step in answer.session.steps)
        answer = answered(graph, minutes=1, avoid=avoid)

    assert answer.verdict == "train"
    assert {"asked", "minutes"} <= {one.reason for one in answer.left_out}
    assert answer.carry_over == ()
    assert answered(graph, minutes=10, avoid=avoid).session


def test_a_touch_cue_is_given_in_the_room_only(graph: Graph) -> None:
    touched = 0
    for setting in ("in_person", "remote"):
        answer = answered(graph, setting=setting, minutes=15)
        assert answer.session
        for step in answer.session.steps:
            touch = graph.drills[step.drill].touch_cue
            given = bool(touch) and touch in step.cues
            assert given == (bool(touch) and setting == "in_person")
            touched += given
    assert touched


def test_what_is_looked_at_again_names_when_and_how(graph: Graph) -> None:
    answer = answered(graph, "left")

    assert [(r.finding, r.weeks > 0) for r in answer.retest] == [
        ("knee_in", False),
        ("knee_in", True),
    ]
    assert {r.side for r in answer.retest} == {"left"}


def test_the_value_is_that_of_the_steps_and_of_their_price(graph: Graph) -> None:
    """With room for one step fewer the value never rises; each step earns more than its price."""
    for seed in range(720, 740):
        screen = random_screen(graph, seed)
        whole = plan(screen, graph)
        if whole.session is None:
            continue
        assert whole.session.value > 0, f"seed {seed}"
        fewer = msgspec.structs.replace(screen, avoid=tuple(s.drill for s in whole.session.steps))
        other = plan(fewer, graph)
        less = other.session.value if other.session else 0.0
        assert less <= whole.session.value or screen.avoid, f"seed {seed}"


@pytest.mark.parametrize("level", ["new", "regular", "advanced"])
def test_a_step_names_its_neighbours_on_the_ladder(graph: Graph, level: str) -> None:
    answer = answered(graph, client=Client(level=level), minutes=20)  # type: ignore[arg-type]
    assert answer.session
    for step in answer.session.steps:
        for rung, up in ((step.easier, -1), (step.harder, 1)):
            if rung is None:
                continue
            ladder = next(one for one in graph.ladders.values() if step.drill in one.rungs)
            assert ladder.rungs[ladder.rungs.index(step.drill) + up] == rung.drill
            assert rung.name == graph.drills[rung.drill].name
