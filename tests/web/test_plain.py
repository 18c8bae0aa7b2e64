"""The printed plan holds what a person needs, in the order in which it is needed."""

import msgspec
import pytest

from service.engine.plan import plan
from service.model.answer import Answer
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.pages.plain import CLOSING, WIDTH, belief, percent, render
from service.web.shipped import examples

NAMES = list(examples())


def answer_of(name: str, graph: Graph) -> Answer:
    return plan(msgspec.json.decode(examples()[name], type=Screen), graph)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("name", NAMES)
def test_the_page_fits_80_columns_and_is_plain(graph: Graph, name: str) -> None:
    page = render(answer_of(name, graph))
    assert max(map(len, page.splitlines())) <= WIDTH
    assert all(char.isprintable() or char == "\n" for char in page)
    assert page.endswith("\n") and not page.endswith("\n\n")


@pytest.mark.parametrize("name", NAMES)
def test_what_holds_the_plan_back_comes_first(graph: Graph, name: str) -> None:
    answer = answer_of(name, graph)
    page = flat(render(answer))
    verdict = page.index("Verdict: ")
    for held in (*answer.referrals, *answer.cautions):
        assert page.index(flat(held.text)) < verdict
    assert page.index(flat(answer.summary)) > verdict
    assert flat(CLOSING) in page


@pytest.mark.parametrize("name", NAMES)
def test_every_step_is_told_whole_and_in_order(graph: Graph, name: str) -> None:
    answer = answer_of(name, graph)
    page = flat(render(answer))
    place = 0
    for number, step in enumerate(answer.session.steps if answer.session else (), start=1):
        place = page.index(f"{number}. {step.name}", place)
        told = (step.good_looks_like, step.stop_when, *step.cues)
        ruled = (reason.text for reason in step.because if reason.rule is not None)
        served = [reason.text for reason in step.because if reason.code == "serves"][:1]
        for text in (*told, *ruled, *served):
            assert page.index(flat(text), place) > place
        first = step.sides[0]
        side = f"{first.side} " if first.side in ("left", "right") else ""
        sets = "1 set" if first.sets == 1 else f"{first.sets} sets"
        assert f"{side}{sets}" in page[place:]


@pytest.mark.parametrize("name", NAMES)
def test_nothing_that_was_left_out_or_not_used_is_silent(graph: Graph, name: str) -> None:
    answer = answer_of(name, graph)
    page = flat(render(answer))
    for warning in answer.warnings:
        assert flat(warning.text) in page
    for left in answer.left_out:
        assert flat(f"{left.name}: {left.detail}") in page
    for text in (*answer.look_at, *answer.retest):
        assert flat(text.text) in page


def test_a_belief_is_never_rounded_to_certainty() -> None:
    assert percent(0.9999) == "over 99 %"
    assert percent(0.0001) == "under 1 %"
    assert percent(0.424) == "42 %"
    assert [belief(p) for p in (0.95, 0.75, 0.55, 0.3, 0.1)] == [
        "very likely",
        "likely",
        "more likely than not",
        "possible",
        "unlikely",
    ]
