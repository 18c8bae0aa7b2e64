"""The full trace: parts that add up, inputs that are there, nothing when not asked for."""

import math

import msgspec
import pytest

from service.engine.plan import plan
from service.model.answer import Answer, TraceNode
from service.model.graph import Graph
from service.model.quantities import MICRO
from service.model.screen import Options
from tests.strategies import random_screen, seeds

SEEDS = seeds(800000, 60)
FULL = Options(explain="full")


def traced(graph: Graph, seed: int) -> Answer:
    screen = random_screen(graph, seed, healthy=seed % 3 > 0)
    return plan(msgspec.structs.replace(screen, options=FULL), graph)


def nodes(answer: Answer) -> dict[str, TraceNode]:
    assert answer.trace is not None
    found = {node.id: node for node in answer.trace}
    assert len(found) == len(answer.trace), "ids are unique"
    return found


def test_the_terms_of_a_drill_sum_to_its_score_and_the_scores_to_the_session(graph: Graph) -> None:
    sessions = 0
    for seed in SEEDS:
        answer = traced(graph, seed)
        found = nodes(answer)
        if answer.session is None:
            continue
        sessions += 1
        total = 0
        for step in answer.session.steps:
            score = found[f"score/{step.drill}"]
            terms = [found[one] for one in score.inputs]
            assert {t.kind for t in terms} == {"term"}
            summed = sum(round((t.value or 0.0) * MICRO) for t in terms)
            assert summed == round((score.value or 0.0) * MICRO), f"seed {seed}: {step.drill}"
            total += summed
        assert total == round(answer.session.value * MICRO), f"seed {seed}"
    assert sessions > len(SEEDS) / 4


def test_every_input_is_a_node_that_came_before(graph: Graph) -> None:
    for seed in SEEDS:
        seen: set[str] = set()
        for node in traced(graph, seed).trace or ():
            assert set(node.inputs) <= seen, f"seed {seed}: {node.id}"
            seen.add(node.id)


def test_causes_of_the_answer_stand_in_the_trace_with_the_same_numbers(graph: Graph) -> None:
    for seed in SEEDS:
        answer = traced(graph, seed)
        found = nodes(answer)
        for cause in answer.causes:
            if cause.side == "both":
                continue
            name = f"{cause.cause}/{cause.side}"
            assert found[f"posterior/{name}"].value == pytest.approx(cause.belief, abs=1e-6)
            assert found[f"weight/{name}"].value == pytest.approx(cause.weight, abs=1e-6)


def test_a_weight_is_the_mean_of_its_shares_by_relevance(graph: Graph) -> None:
    held = 0
    for seed in SEEDS:
        found = nodes(traced(graph, seed))
        every: dict[str, float] = {}
        for node in found.values():
            if node.kind == "share":
                event = "/".join(node.id.split("/")[1:4])
                every[event] = float(node.detail.partition("=")[2])
        total = math.fsum(every.values())
        for node in found.values():
            if node.kind == "weight" and node.inputs and total:
                shares = [found[one] for one in node.inputs]
                mean = (
                    sum((s.value or 0.0) * float(s.detail.partition("=")[2]) for s in shares)
                    / total
                )
                assert node.value == pytest.approx(mean, abs=2e-6), f"seed {seed}: {node.id}"
                held += 1
    assert held > 100


def test_every_drill_is_either_chosen_or_has_a_reason(graph: Graph) -> None:
    for seed in SEEDS:
        answer = traced(graph, seed)
        found = nodes(answer)
        lost = {n.id.removeprefix("left_out/") for n in found.values() if n.kind == "left_out"}
        if lost:
            taken = {s.drill for s in answer.session.steps} if answer.session else set()
            assert lost | taken == set(graph.drills), f"seed {seed}"
            assert not lost & taken, f"seed {seed}"


def test_a_limit_that_bound_is_worth_something_without_it(graph: Graph) -> None:
    bound = 0
    for seed in SEEDS:
        for node in traced(graph, seed).trace or ():
            if node.kind == "constraint":
                assert (node.value or 0) > 0, f"seed {seed}: {node.id}"
                bound += 1
    assert bound > 0


def test_the_trace_cites_only_sources_of_the_pack(graph: Graph) -> None:
    for seed in SEEDS:
        for node in traced(graph, seed).trace or ():
            assert set(node.sources) <= set(graph.sources), f"seed {seed}: {node.id}"


def test_a_trace_changes_nothing_else_and_is_null_when_not_asked_for(graph: Graph) -> None:
    for seed in SEEDS:
        full = traced(graph, seed)
        screen = random_screen(graph, seed, healthy=seed % 3 > 0)
        short = plan(screen, graph)
        assert short.trace is None
        assert msgspec.structs.replace(full, trace=None) == short, f"seed {seed}"
