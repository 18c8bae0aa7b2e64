"""A screen as understood: what would be ignored is named, and nothing is decided."""

import msgspec

from service.engine.plan import plan
from service.engine.validate import validate
from service.model.graph import Graph
from service.model.screen import Client, Measurement, Observation, Screen, Trial
from tests.strategies import random_screen

SEEDS = range(9000, 9060)
ASKED = Client(alerts=(), conditions=(), pain=())
SEEN = Observation(movement="squat", view="front", finding="knee_in", grade="marked", side="both")


def test_what_is_ignored_is_what_a_plan_would_ignore(graph: Graph) -> None:
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=seed % 2 == 0)
        understood, answer = validate(screen, graph), plan(screen, graph)
        told = {(w.code, w.pointer) for w in understood.warnings}
        planned = {(w.code, w.pointer) for w in answer.warnings}
        extra = {code for code, _ in planned - told}
        # only deciding can say these
        allowed = {"measured_not_seen", "seen_not_measured", "unweighed", "unweighed_trial"}
        assert told <= planned, f"seed {seed}"
        assert extra <= allowed, f"seed {seed}: {extra}"
        assert understood.stops == (answer.verdict == "refer"), f"seed {seed}"
        assert understood.decision == answer.decision, f"seed {seed}"
        assert understood.target == answer.target, f"seed {seed}"


def test_a_finding_on_both_sides_is_two_events_with_their_trials(graph: Graph) -> None:
    tried = msgspec.structs.replace(SEEN, trials=(Trial(change="heels_raised", result="gone"),))
    said = validate(Screen(observations=(tried,), client=ASKED), graph)
    assert [(o.side, [t.change for t in o.trials]) for o in said.observations] == [
        ("left", ["heels_raised"]),
        ("right", ["heels_raised"]),
    ]
    assert said.target == "squat"
    assert said.target_assumed


def test_a_depth_that_was_told_is_shown_as_a_trial_nobody_made(graph: Graph) -> None:
    deep = msgspec.structs.replace(SEEN, side="left", depth="deep")
    said = validate(Screen(observations=(deep,), client=ASKED), graph)
    assert [(t.change, t.result, t.from_depth) for t in said.observations[0].trials] == [
        ("half_depth", "gone", True)
    ]


def test_a_wrong_unit_is_pointed_at_and_not_among_what_is_understood(graph: Graph) -> None:
    wrong = Measurement(measure="ankle_lunge_distance", value=7, unit="deg", side="left")
    said = validate(Screen(observations=(SEEN,), client=ASKED, measurements=(wrong,)), graph)
    assert said.measurements == ()
    assert ("unit_mismatch", "/measurements/0") in {(w.code, w.pointer) for w in said.warnings}


def test_a_reading_is_shown_with_its_ratio_and_what_it_speaks_of(graph: Graph) -> None:
    low = Measurement(measure="ankle_lunge_distance", value=5, unit="cm", side="left")
    (said,) = validate(
        Screen(observations=(SEEN,), client=ASKED, measurements=(low,)), graph
    ).measurements
    assert said.causes == ("ankle_dorsiflexion.range",)
    assert said.likelihood_ratio > 1
    assert said.usual == graph.measures["ankle_lunge_distance"].references[0].mean


def test_what_is_not_covered_is_named_and_left_out(graph: Graph) -> None:
    hidden = msgspec.structs.replace(SEEN, view="back", finding="depth_short")
    said = validate(Screen(observations=(hidden,), client=ASKED), graph)
    assert said.observations == ()
    assert "not_visible" in {w.code for w in said.warnings}
