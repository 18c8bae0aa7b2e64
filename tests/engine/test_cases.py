"""The golden cases against the engine: whatever a case expects must hold, with its reasons."""

import pytest

from service.authoring.cases import Case
from service.authoring.misses import misses
from service.engine.plan import plan
from service.model.graph import Graph
from tests.golden import golden_cases
from tests.held import broken_limits, forbidden_words

CASES = golden_cases()
PRACTICE = "common practice, no source"
LAW = "design law"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)
def test_a_case_holds_with_its_reasons(case: Case, graph: Graph) -> None:
    answer = plan(case.screen, graph)
    beside = plan(case.beside, graph) if case.beside is not None else None

    assert misses(case, answer, beside, graph) == [], case.says


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)
def test_a_case_breaks_no_limit_and_makes_no_claim(case: Case, graph: Graph) -> None:
    answer = plan(case.screen, graph)

    assert broken_limits(answer, case.screen, graph) == []
    assert forbidden_words(answer) == []


def test_every_case_says_where_it_comes_from(graph: Graph) -> None:
    for case in CASES:
        sourced = case.origin in graph.sources
        assert sourced or case.origin in (PRACTICE, LAW), f"{case.id}: {case.origin}"
        assert bool(case.fact) == (case.origin == PRACTICE), case.id


def test_a_case_expects_something_that_an_empty_answer_does_not_do(graph: Graph) -> None:
    """A case that any answer meets tests nothing: against another's answer each one misses."""
    answers = {case.id: plan(case.screen, graph) for case in CASES}
    for case in CASES:
        beside = plan(case.beside, graph) if case.beside is not None else None
        others = (answer for one, answer in answers.items() if one != case.id)
        assert any(misses(case, other, beside, graph) for other in others), case.id


def test_every_fact_of_practice_has_a_case() -> None:
    habits = {"C10", "C15", "C17"}
    facts = {f"C{n:02}" for n in range(1, 22)} - habits

    assert {case.fact[:3] for case in CASES if case.fact} == facts
