"""Why a cause is believed: what each piece of evidence moved, found again by leaving it out."""

import math

import msgspec
import pytest

from service.engine.infer import infer
from service.engine.plan import plan
from service.engine.read import read
from service.engine.weigh import belief
from service.model.graph import Graph
from service.model.network import Evidence
from service.model.quantities import Side
from service.model.screen import Client, Known, Observation, Screen
from tests.strategies import random_screen


def log_odds(graph: Graph, evidence: Evidence, variable: int, mask: int) -> float:
    p = belief(infer(graph.network, evidence).states[variable], mask)
    return math.log(p / (1 - p))


@pytest.mark.parametrize("seed", range(40, 60))
def test_what_was_moved_equals_leaving_the_evidence_out(graph: Graph, seed: int) -> None:
    screen = msgspec.structs.replace(random_screen(graph, seed), known=())
    evidence = read(screen, graph).evidence
    whole = infer(graph.network, evidence)
    for n, (sighting, said) in enumerate(zip(evidence.sightings, whole.sightings, strict=True)):
        assert said is not None
        rest = evidence.sightings[:n] + evidence.sightings[n + 1 :]
        without = msgspec.structs.replace(evidence, sightings=rest)
        parents = graph.network.events[sighting.event].parents
        for parent, part in list(zip(parents, said.parents, strict=True))[:4]:
            where = (parent.variable, parent.mask)
            moved = log_odds(graph, evidence, *where) - log_odds(graph, without, *where)
            assert part.moved == pytest.approx(moved, abs=1e-6), f"seed {seed}, sighting {n}"
            for t in range(len(sighting.trials)):
                fewer = sighting.trials[:t] + sighting.trials[t + 1 :]
                bare = msgspec.structs.replace(sighting, trials=fewer)
                lists = (*evidence.sightings[:n], bare, *evidence.sightings[n + 1 :])
                other = msgspec.structs.replace(evidence, sightings=lists)
                moved = log_odds(graph, evidence, *where) - log_odds(graph, other, *where)
                assert part.trial_moved[t] == pytest.approx(moved, abs=1e-6), f"seed {seed}"


def squat_of(side: Side) -> Observation:
    return Observation(movement="squat", view="front", finding="knee_in", side=side, grade="marked")


def test_twins_that_are_equal_are_one_entry(graph: Graph) -> None:
    answer = plan(Screen(observations=(squat_of("both"),)), graph)
    sided = [c for c in answer.causes if graph.causes[c.cause].sided]

    assert sided
    assert {c.side for c in sided} == {"both"}
    assert len({c.cause for c in sided}) == len(sided)


def test_a_twin_that_was_told_of_stands_alone(graph: Graph) -> None:
    for side in ("left", "right"):
        told = Known(cause="calf.control", side=side, present=False)  # type: ignore[arg-type]
        answer = plan(Screen(observations=(squat_of("both"),), known=(told,)), graph)
        listed = [c for c in answer.causes if c.cause == "calf.control" and c.side == side]

        assert [(c.belief, [b.code for b in c.because]) for c in listed] == [
            (0.0, ["known_absent"])
        ]


def test_causes_come_by_weight_then_belief_then_id(graph: Graph) -> None:
    for seed in range(60, 100):
        causes = plan(random_screen(graph, seed), graph).causes
        keys = [(-c.weight, -c.belief, c.cause, c.side) for c in causes]
        assert keys == sorted(keys), f"seed {seed}"


def test_every_reason_cites_sources_of_the_pack(graph: Graph) -> None:
    for seed in range(100, 130):
        answer = plan(random_screen(graph, seed), graph)
        steps = answer.session.steps if answer.session else ()
        reasons = [b for one in (*answer.causes, *steps) for b in one.because]
        assert {s for b in reasons for s in b.sources} <= graph.sources.keys(), f"seed {seed}"
        assert all(b.sources for b in reasons if b.finding or b.measure), f"seed {seed}"


def test_a_client_without_answers_gets_the_same_causes(graph: Graph) -> None:
    one = plan(Screen(observations=(squat_of("left"),)), graph)
    asked = Client(alerts=(), conditions=(), pain=())
    other = plan(Screen(observations=(squat_of("left"),), client=asked), graph)

    assert one.causes == other.causes
    assert one.session == other.session
