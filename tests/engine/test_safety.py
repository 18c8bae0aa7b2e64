"""What stops, closes and refers: pain by its rules, and alerts that combine several facts."""

from typing import Any

import pytest

from service.engine.safety import Safety, judge
from service.model.graph import Graph
from service.model.screen import Client, Condition, Measurement, Pain, Screen


def judged(graph: Graph, target: str | None = "squat", **client: Any) -> Safety:
    measurements = client.pop("measurements", ())
    screen = Screen(observations=(), client=Client(**client), measurements=measurements)
    return judge(screen, target, graph)


def hurt(score: int, region: str = "knee", **more: Any) -> tuple[Pain, ...]:
    return (Pain(region=region, score=score, side="left", **more),)  # type: ignore[arg-type]


@pytest.mark.parametrize("score", [0, 1, 2])
def test_pain_to_two_closes_nothing(graph: Graph, score: int) -> None:
    safety = judged(graph, pain=hurt(score))

    assert (safety.refer, safety.referrals, safety.cautions) == (False, (), ())
    assert safety.closed == {}


@pytest.mark.parametrize("score", [3, 4])
def test_pain_of_three_or_four_takes_load_and_range_from_its_region(
    graph: Graph, score: int
) -> None:
    safety = judged(graph, pain=hurt(score))

    assert not safety.refer
    assert [c.caution for c in safety.cautions] == ["pain_reduced"]
    for drill in graph.drills.values():
        loaded = "knee" in drill.loads and drill.load in ("moderate", "heavy")
        assert (drill.id in safety.closed) == (loaded or "knee" in drill.end_range), drill.id


@pytest.mark.parametrize(
    "pain",
    [{"score": 5}, {"score": 9}, {"score": 1, "kind": "sharp"}, {"score": 1, "when": "day_after"}],
)
def test_pain_of_five_sharp_or_the_day_after_closes_and_refers(
    graph: Graph, pain: dict[str, Any]
) -> None:
    safety = judged(graph, pain=hurt(**pain))

    assert safety.refer
    assert [(r.by, r.region) for r in safety.referrals] == [("pain_closed", "knee")]
    for drill in graph.drills.values():
        if "knee" in drill.loads:
            assert safety.closed[drill.id].reason == "pain"


def test_closed_pain_that_the_target_does_not_load_leaves_the_rest(graph: Graph) -> None:
    safety = judged(graph, pain=hurt(7, "shoulder"))

    assert not safety.refer
    assert [r.region for r in safety.referrals] == ["shoulder"]
    assert 0 < len(safety.closed) < len(graph.drills)


def test_a_score_of_nothing_is_no_pain_whatever_its_kind(graph: Graph) -> None:
    assert not judged(graph, pain=hurt(0, kind="sharp")).referrals


@pytest.mark.parametrize(("age", "refers"), [(12, True), (17, True), (18, False), (None, False)])
def test_pain_in_a_minor_is_referred(graph: Graph, age: int | None, refers: bool) -> None:
    safety = judged(graph, pain=hurt(1), age_years=age)

    assert safety.refer == refers
    assert ([r.by for r in safety.referrals] == ["pain_minor"]) == refers


def test_a_combined_alert_needs_all_its_facts(graph: Graph) -> None:
    little = (Measurement(measure="hip_internal_rotation", value=10, unit="deg", side="left"),)
    ample = (Measurement(measure="hip_internal_rotation", value=30, unit="deg", side="left"),)

    def refers(age: int, score: int, measured: tuple[Measurement, ...]) -> bool:
        pain = hurt(score, "hip")
        return judged(graph, age_years=age, pain=pain, measurements=measured).refer

    assert refers(60, 2, little)
    assert not refers(40, 2, little)
    assert not refers(60, 0, little)
    assert not refers(60, 2, ample)
    assert not refers(60, 2, ())


def test_an_unknown_age_of_surgery_counts_as_recent(graph: Graph) -> None:
    def refers(**told: Any) -> bool:
        return judged(
            graph, conditions=(Condition(id="recent_surgery", region="knee", **told),)
        ).refer

    assert refers(cleared=True)
    assert refers(cleared=False, weeks_ago=60)
    assert refers(cleared=True, weeks_ago=6)
    assert not refers(cleared=True, weeks_ago=20)


def test_a_condition_without_a_region_means_the_whole_body(graph: Graph) -> None:
    here = judged(graph, conditions=(Condition(id="arthritis", region="knee"),)).closed
    everywhere = judged(graph, conditions=(Condition(id="arthritis"),)).closed

    assert set(here) < set(everywhere)
    assert set(everywhere) >= {d.id for d in graph.drills.values() if d.end_range}


def test_the_most_urgent_referral_comes_first(graph: Graph) -> None:
    safety = judged(graph, alerts=("night_pain", "numb_saddle", "fainting"))

    assert [r.urgency for r in safety.referrals] == ["emergency", "same_day", "soon"]
    assert safety.refer


def test_not_asked_stops_nothing(graph: Graph) -> None:
    safety = judged(graph)

    assert (safety.refer, safety.cautions, dict(safety.closed)) == (False, (), {})
