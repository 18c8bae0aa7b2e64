"""How a screen is understood: looks folded into events, trials, sides, the target, what is left."""

from typing import Any

import msgspec
import pytest

from service.engine.read import Reading, read
from service.model.graph import Graph
from service.model.screen import Known, Observation, Screen, Trial

KNEE: dict[str, Any] = {
    "movement": "squat",
    "view": "front",
    "finding": "knee_in",
    "side": "left",
    "grade": "marked",
}


def seen(**changes: Any) -> Observation:
    return Observation(**{**KNEE, **changes})


def reading(graph: Graph, *observations: Observation, **fields: Any) -> Reading:
    return read(Screen(observations=observations, **fields), graph)


def without(graph: Graph, *ids: str) -> Graph:
    """A pack that does not cover some movements and findings yet: it holds them as drafts."""
    return msgspec.structs.replace(
        graph,
        movements={k: v for k, v in graph.movements.items() if k not in ids},
        findings={k: v for k, v in graph.findings.items() if k not in ids},
    )


def codes(found: Reading) -> set[str]:
    return {note.code for note in found.notes} - {"not_asked"}


def test_a_second_view_adds_only_its_eye(graph: Graph) -> None:
    one = reading(graph, seen())
    two = reading(graph, seen(), seen(view="back"))

    assert len(two.evidence.sightings) == 1
    assert two.positives[0].views == ("back", "front")
    assert two.evidence.sightings[0].leak < one.evidence.sightings[0].leak
    assert two.evidence.sightings[0].scale > one.evidence.sightings[0].scale


def test_a_view_that_saw_nothing_lowers_the_trust_and_is_said(graph: Graph) -> None:
    one = reading(graph, seen())
    two = reading(graph, seen(), seen(view="back", grade="absent"))

    assert two.evidence.sightings[0].leak > one.evidence.sightings[0].leak
    assert codes(two) == {"views_disagree"}


def test_both_is_one_event_left_and_one_right_with_its_trials(graph: Graph) -> None:
    found = reading(graph, seen(side="both", trials=(Trial(change="toes_out", result="gone"),)))

    assert [graph.events[s.event].side for s in found.positives] == ["left", "right"]
    assert [len(s.trials) for s in found.positives] == [1, 1]


@pytest.mark.parametrize(
    ("depth", "result"), [("deep", "gone"), ("shallow", "same"), ("throughout", "same")]
)
def test_a_told_depth_is_read_as_a_trial_of_half_depth(
    graph: Graph, depth: str, result: str
) -> None:
    told = reading(graph, seen(depth=depth))
    tried = reading(graph, seen(trials=(Trial(change="half_depth", result=result),)))  # type: ignore[arg-type]

    assert told.evidence == tried.evidence
    assert told.positives[0].half_depth_told
    assert not tried.positives[0].half_depth_told


def test_a_middle_depth_says_nothing(graph: Graph) -> None:
    assert reading(graph, seen(depth="mid")).evidence == reading(graph, seen()).evidence


def test_depth_and_trial_count_once_and_a_conflict_is_said(graph: Graph) -> None:
    trial = (Trial(change="half_depth", result="gone"),)
    agreed = reading(graph, seen(depth="deep", trials=trial))
    conflict = reading(graph, seen(depth="shallow", trials=trial))

    assert agreed.evidence == conflict.evidence
    assert len(agreed.evidence.sightings[0].trials) == 1
    assert codes(agreed) == set()
    assert codes(conflict) == {"depth_conflict"}


def test_a_repeated_observation_is_left_out(graph: Graph) -> None:
    found = reading(graph, seen(), seen(grade="mild"))

    assert found.evidence == reading(graph, seen()).evidence
    assert codes(found) == {"repeated_observation"}


def test_a_repeated_change_is_left_out(graph: Graph) -> None:
    cue = Trial(change="spoken_cue", result="gone")
    found = reading(graph, seen(trials=(cue, cue)))

    assert len(found.evidence.sightings[0].trials) == 1
    assert codes(found) == {"repeated_change"}


def test_a_trial_on_what_was_not_seen_is_left_out(graph: Graph) -> None:
    cue = (Trial(change="spoken_cue", result="gone"),)
    found = reading(graph, seen(grade="absent", trials=cue))

    assert found.evidence == reading(graph, seen(grade="absent")).evidence
    assert codes(found) == {"trial_on_absent"}


def test_opposites_seen_together_are_said(graph: Graph) -> None:
    found = reading(graph, seen(), seen(finding="knee_out"))

    assert len(found.positives) == 2
    assert codes(found) == {"opposites_seen"}


def test_a_mild_sighting_leaks_more_and_matters_less(graph: Graph) -> None:
    mild, marked = (reading(graph, seen(grade=g)).evidence.sightings[0] for g in ("mild", "marked"))

    assert mild.leak > marked.leak
    assert mild.relevance < marked.relevance


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"movement": "push_up"}, "movement_not_covered"),
        ({"finding": "shoulder_hike"}, "finding_not_covered"),
        ({"view": "side"}, "not_visible"),
        ({"side": "none"}, "side_missing"),
    ],
)
def test_what_cannot_be_weighed_is_left_out_and_pointed_at(
    graph: Graph, changes: dict[str, str], code: str
) -> None:
    graph = without(graph, "push_up", "shoulder_hike")
    found = reading(graph, seen(), seen(**changes))

    assert found.evidence == reading(graph, seen()).evidence
    assert [(n.code, n.pointer) for n in found.notes if n.code != "not_asked"] == [
        (code, "/observations/1")
    ]


def test_a_side_of_a_midline_finding_is_ignored_and_said(graph: Graph) -> None:
    lean = {"view": "side", "finding": "trunk_forward"}
    found = reading(graph, seen(**lean, side="left"))

    assert found.evidence == reading(graph, seen(**lean, side="none")).evidence
    assert codes(found) == {"side_ignored"}


def test_a_touch_cue_is_no_evidence_at_a_distance(graph: Graph) -> None:
    cue = (Trial(change="touch_cue", result="gone"),)
    found = reading(graph, seen(trials=cue), setting="remote")

    assert found.evidence.sightings[0].trials == ()
    assert codes(found) == {"change_not_remote"}


def test_the_target_is_the_first_by_pack_order_among_movements_with_a_finding(
    graph: Graph,
) -> None:
    step = seen(movement="step_down", finding="knee_in")
    clean = seen(grade="absent")

    assert reading(graph, step, clean).target == "step_down"
    assert reading(graph, step, seen()).target == "squat"
    assert reading(graph, clean).target == "squat"
    assert reading(graph, step, target="lunge").target == "lunge"
    assert reading(graph).target is None


def test_a_target_that_is_not_covered_gives_way_to_the_default(graph: Graph) -> None:
    found = reading(without(graph, "bench_press"), seen(), target="bench_press")

    assert found.target == "squat"
    assert codes(found) == {"target_not_covered"}


def test_what_is_told_both_ways_counts_for_neither(graph: Graph) -> None:
    both = tuple(Known(cause="calf.control", side="left", present=p) for p in (True, False))
    found = reading(graph, seen(), known=both)

    assert found.known == ()
    assert codes(found) == {"known_conflict"}


def test_unknown_ids_come_back_with_the_nearest(graph: Graph) -> None:
    found = reading(
        graph,
        seen(),
        kit=("mini_bond",),
        avoid=("clamm",),
        recent=("zzzzzzzzz",),
        known=(Known(cause="calf.controll", side="left", present=True),),
    )
    told = {
        (n.pointer, dict(n.values).get("nearest")) for n in found.notes if n.code != "not_asked"
    }

    assert told == {
        ("/kit/0", "mini_band"),
        ("/avoid/0", "clam"),
        ("/recent/0", ""),
        ("/known/0", "calf.control"),
    }


def test_not_asked_is_said_and_asked_without_an_answer_is_not(graph: Graph) -> None:
    screen = Screen(observations=(seen(),))
    client = msgspec.structs.replace(screen.client, alerts=(), conditions=(), pain=())
    asked = msgspec.structs.replace(screen, client=client)

    assert [n.pointer for n in read(screen, graph).notes] == [
        "/client/alerts",
        "/client/conditions",
        "/client/pain",
    ]
    assert read(asked, graph).notes == ()
