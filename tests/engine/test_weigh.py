"""From what is likely to what matters: weights of causes for the target, and the verdict."""

from typing import Any

import pytest

from service.engine.infer import infer
from service.engine.read import read
from service.engine.weigh import Weighing, weigh
from service.model.graph import Graph
from service.model.quantities import MICRO
from service.model.screen import Observation, Screen, Trial
from tests.strategies import random_screen


def seen(grade: str = "marked", **changes: Any) -> Observation:
    fields = {"movement": "squat", "view": "front", "finding": "knee_in", "side": "left"}
    return Observation(**{**fields, "grade": grade, **changes})


def weighing(graph: Graph, *observations: Observation, **fields: Any) -> Weighing:
    reading = read(Screen(observations=observations, **fields), graph)
    return weigh(reading, infer(graph.network, reading.evidence), graph)


def test_weights_are_shares_summed_over_what_matters_for_the_target(graph: Graph) -> None:
    for seed in range(300, 330):
        reading = read(random_screen(graph, seed), graph)
        posterior = infer(graph.network, reading.evidence)
        found = weigh(reading, posterior, graph)
        total = sum(s.relevance for s in reading.evidence.sightings)
        sums: dict[tuple[int, int], float] = {}
        for sighting, said in zip(reading.evidence.sightings, posterior.sightings, strict=True):
            assert said is not None
            parents = graph.network.events[sighting.event].parents
            for parent, part in zip(parents, said.parents, strict=True):
                key = (parent.variable, parent.mask)
                sums[key] = sums.get(key, 0.0) + sighting.relevance * part.share
        for key, weight in found.by_side.items():
            assert weight == pytest.approx(sums[key] / total * MICRO, abs=2), f"seed {seed}"
        assert sum(found.by_side.values()) == sum(found.by_cause), f"seed {seed}"


def test_lean_is_left_minus_right(graph: Graph) -> None:
    left, right = (weighing(graph, seen(side=side)) for side in ("left", "right"))
    both = weighing(graph, seen(side="both"))

    assert left.lean == tuple(-n for n in right.lean)
    assert sum(left.lean) > 0
    assert set(both.lean) == {0}


def test_only_the_causes_of_what_matters_for_the_target_weigh(graph: Graph) -> None:
    arms = seen(movement="overhead_squat", view="side", finding="arms_lose_overhead", side="none")
    event = graph.event_of["overhead_squat", "arms_lose_overhead", "none"]
    without = [t for t in graph.targets if graph.weights[t][event] == 0]
    knees = weighing(graph, seen(), target="overhead_squat")
    both = weighing(graph, seen(), arms, target="overhead_squat")
    shoulder = graph.variable_of["shoulder_flexion.range"]

    assert knees.by_cause[shoulder] == 0
    assert both.by_cause[shoulder] > 0
    for target in without:
        assert weighing(graph, seen(), arms, target=target).by_cause[shoulder] == 0


def test_the_parts_of_what_is_explained_sum_to_one(graph: Graph) -> None:
    for seed in range(330, 350):
        masses = weigh_random(graph, seed).masses
        assert sum(masses.values()) == pytest.approx(1.0) or not any(masses.values()), seed


def weigh_random(graph: Graph, seed: int) -> Weighing:
    reading = read(random_screen(graph, seed), graph)
    return weigh(reading, infer(graph.network, reading.evidence), graph)


def test_verdicts_follow_the_thresholds_of_the_pack(graph: Graph) -> None:
    verdicts = set()
    for seed in range(400, 600):
        found = weigh_random(graph, seed)
        numbers = graph.decision
        verdicts.add(found.verdict)
        if found.verdict == "practise":
            assert found.masses["practise"] >= numbers.practise_from, f"seed {seed}"
            assert not found.not_kept, f"seed {seed}"
        if found.verdict == "train":
            assert found.masses["train"] >= numbers.train_from, f"seed {seed}"
        if found.verdict == "nothing_found":
            assert found.enough, f"seed {seed}"

    assert {"practise", "train", "unsure"} <= verdicts


def test_what_helped_and_what_failed_are_told_apart(graph: Graph) -> None:
    trials = (
        Trial(change="spoken_cue", result="gone", repeats=False),
        Trial(change="toes_out", result="worse"),
        Trial(change="heels_raised", result="better", repeats=True),
    )
    found = weighing(graph, seen(trials=trials))

    assert found.worked == {"spoken_cue", "heels_raised"}
    assert found.failed == {"toes_out"}
    assert not found.not_kept
    assert weighing(graph, seen(trials=trials[:1])).not_kept


def test_one_bare_look_does_not_call_for_training(graph: Graph) -> None:
    looks = {"movement": "single_leg_squat", "side": "left"}
    bare = weighing(graph, seen(**looks), target="single_leg_squat")
    assert (bare.verdict, bare.untried) == ("unsure", True)
    failed = Trial(change="spoken_cue", result="same")
    tried = weighing(graph, seen(**looks, trials=(failed,)), target="single_leg_squat")
    assert (tried.verdict, tried.untried) == ("train", False)
