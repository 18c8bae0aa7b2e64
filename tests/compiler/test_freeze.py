"""The frozen graph, held against numbers worked out by hand from the small pack."""

import os
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from service.compiler.network import persistence
from service.model.graph import EventKey, Graph
from service.model.knowledge import Persistence
from service.model.network import ANY, LEFT, RIGHT
from service.model.quantities import MICRO
from tests.compiler.packs import VALID, compile_small


@pytest.fixture(scope="module")
def graph() -> Graph:
    return compile_small(VALID)


def test_variables_are_the_live_causes_in_id_order(graph: Graph) -> None:
    ids = [variable.id for variable in graph.network.variables]
    assert ids == sorted(ids) == list(graph.causes)
    assert [graph.variable_of[name] for name in ids] == list(range(len(ids)))


def test_a_sided_prior_is_split_by_its_twin(graph: Graph) -> None:
    ankle = graph.network.variables[graph.variable_of["ankle_dorsiflexion.range"]]
    # p = 0.2, twin = 0.6: both 0.12, one side alone 0.08, none the rest
    assert ankle.prior == pytest.approx((0.72, 0.08, 0.08, 0.12), abs=1e-12)
    assert ankle.prior[1] + ankle.prior[3] == pytest.approx(0.2, abs=1e-12)
    skill = graph.network.variables[graph.variable_of["squat.skill"]]
    assert skill.prior == pytest.approx((0.6, 0.4), abs=1e-12)
    for variable in graph.network.variables:
        assert sum(variable.prior) == pytest.approx(1, abs=1e-12)


def test_events_are_live_findings_where_the_eye_sees_them_once_a_side(graph: Graph) -> None:
    assert graph.events == (
        EventKey(movement="squat", finding="knee_in", side="left"),
        EventKey(movement="squat", finding="knee_in", side="right"),
        EventKey(movement="squat", finding="trunk_forward", side="none"),
    )
    assert len(graph.network.events) == len(graph.events)
    for key, place in graph.event_of.items():
        event = graph.events[place]
        assert key == (event.movement, event.finding, event.side)


def test_a_relation_decides_in_which_states_a_cause_can_fire(graph: Graph) -> None:
    ankle = graph.variable_of["ankle_dorsiflexion.range"]
    stance = graph.variable_of["squat.stance"]
    for side, mask in (("left", LEFT), ("right", RIGHT)):
        event = graph.network.events[graph.event_of["squat", "knee_in", side]]
        masks = {parent.variable: (parent.mask, parent.strength) for parent in event.parents}
        assert masks[ankle] == (mask, 0.5)
        assert masks[stance] == (ANY, 0.35)
    midline = graph.network.events[graph.event_of["squat", "trunk_forward", "none"]]
    either = [(p.mask, p.strength) for p in midline.parents if p.variable == ankle]
    assert either == [(LEFT, 0.4), (RIGHT, 0.4)]


@pytest.mark.parametrize(
    ("change", "cause", "finding", "a"),
    [
        ("heels_raised", "ankle_dorsiflexion.range", "trunk_forward", 0.2),
        ("heels_raised", "ankle_dorsiflexion.range", "knee_in", 0.1),
        ("heels_raised", "hip_abductors.control", "knee_in", 0.7),
        ("heels_raised", "squat.stance", "knee_in", 0.8),
        ("heels_raised", "squat.skill", "trunk_forward", 0.9),
        ("spoken_cue", "squat.skill", "trunk_forward", 0.3),
        ("spoken_cue", "squat.stance", "knee_in", 0.85),
        ("heels_raised", "hip.build", "trunk_forward", 0.98),
        ("spoken_cue", "hip.build", "trunk_forward", 0.98),
    ],
)
def test_the_most_exact_row_of_a_change_counts(
    graph: Graph, change: str, cause: str, finding: str, a: float
) -> None:
    assert persistence(graph.changes[change], graph.causes[cause], finding) == a


def test_build_gives_way_only_to_a_row_that_names_it(graph: Graph) -> None:
    named = msgspec.structs.replace(
        graph.changes["spoken_cue"], persistence=(Persistence(a=0.4, cause="hip.build"),)
    )
    assert persistence(named, graph.causes["hip.build"], "trunk_forward") == 0.4


def test_a_stem_counts_before_a_mode_and_a_finding_before_none(graph: Graph) -> None:
    rows = (
        Persistence(a=0.5, mode="skill", finding="trunk_forward"),
        Persistence(a=0.6, stem="squat"),
        Persistence(a=0.7, stem="squat", finding="trunk_forward"),
    )
    change = msgspec.structs.replace(graph.changes["spoken_cue"], persistence=rows)
    assert persistence(change, graph.causes["squat.skill"], "trunk_forward") == 0.7
    assert persistence(change, graph.causes["squat.skill"], "knee_in") == 0.6


def test_leaks_and_their_persistence_come_from_eye_and_change(graph: Graph) -> None:
    assert [event.leak for event in graph.network.events] == [0.1, 0.1, 0.05]
    assert graph.network.changes == ("heels_raised", "spoken_cue")
    assert {event.leak_persists for event in graph.network.events} == {(0.5, 0.4)}
    assert graph.network.confusion[0] == (0.8, 0.15, 0.05)


def test_the_order_is_a_permutation_of_the_variables(graph: Graph) -> None:
    assert sorted(graph.network.order) == list(range(len(graph.network.variables)))


def test_weights_are_of_the_finding_times_what_the_movement_says_of_the_target(
    graph: Graph,
) -> None:
    assert graph.targets == ("squat",)
    assert graph.weights["squat"] == (0.8, 0.8, 0.4)


def test_eyes_are_by_movement_finding_and_view(graph: Graph) -> None:
    assert list(graph.eyes) == [
        ("squat", "knee_in", "back"),
        ("squat", "knee_in", "front"),
        ("squat", "trunk_forward", "side"),
    ]
    assert graph.eyes["squat", "knee_in", "back"].sensitivity == 0.6


def test_links_are_found_by_cause_and_finding(graph: Graph) -> None:
    assert graph.link_of["ankle_dorsiflexion.range", "knee_in"] == ("ankle-knee_in",)
    assert sorted(i for ids in graph.link_of.values() for i in ids) == sorted(graph.links)


def test_drafts_are_out_and_so_is_what_live_records_say_of_them(graph: Graph) -> None:
    assert "drop_landing" not in graph.movements
    assert "knee_out" not in graph.findings
    assert graph.movements["squat"].speaks_for == {}
    assert graph.findings["knee_in"].weights == {}
    assert graph.findings["knee_in"].eyes[0].movements == ("squat",)
    assert graph.links["ankle-knee_in"].strengths == {"squat": 0.5}
    assert graph.changes["spoken_cue"].movements == ("squat",)
    assert graph.drills["squat_practice"].carries_to == {"squat": 0.8}


def test_seconds_are_set_up_change_over_sets_sides_and_rests(graph: Graph) -> None:
    lift = next(offer for offer in graph.offers if offer.drill == "side_lying_lift")
    # 8 x (1 + 1 + 2) = 32 s a set, two sides of two sets, one rest of 30, set-up 5, change-over 10
    assert lift.full["new"].seconds == 5 + 10 + 2 * 2 * 32 + 30 == 173
    assert lift.full["new"].extra_set_s == 32 + 30
    assert lift.short["new"].seconds == 5 + 10 + 2 * 32
    assert set(lift.short) == {"new"}
    squat = next(offer for offer in graph.offers if offer.drill == "squat_slow")
    # 6 x (3 + 2 + 1) = 36 s a set, both sides at once
    assert squat.full["new"].seconds == 5 + 10 + 2 * 36 + 40
    assert squat.longest_hold_s["new"] == 2


def test_effects_are_millionths_by_variable_and_scaled_for_the_short_dose(graph: Graph) -> None:
    lift = next(offer for offer in graph.offers if offer.drill == "side_lying_lift")
    hip = graph.variable_of["hip_abductors.control"]
    assert lift.full["new"].effects == ((hip, MICRO // 2),)
    assert lift.short["new"].effects == ((hip, 3 * MICRO // 10),)


def test_holds_count_stretched_muscles_only(graph: Graph) -> None:
    calf = next(offer for offer in graph.offers if offer.drill == "calf_stretch_wall")
    soleus = list(graph.muscles).index("soleus")
    assert calf.full["advanced"].holds == ((soleus, 29),)
    assert calf.full["advanced"].extra_holds == ((soleus, 58),)
    assert calf.longest_hold_s == {"new": 25, "regular": 25, "advanced": 29}
    lift = next(offer for offer in graph.offers if offer.drill == "side_lying_lift")
    assert lift.full["new"].holds == ()


def test_neighbours_are_the_rungs_beside_a_drill(graph: Graph) -> None:
    offers = {offer.drill: offer for offer in graph.offers}
    assert offers["side_lying_lift"].easier is None
    assert offers["side_lying_lift"].harder == "band_side_step"
    assert offers["band_side_step"].easier == "side_lying_lift"
    assert offers["band_side_step"].ladder == offers["side_lying_lift"].ladder >= 0
    assert offers["calf_stretch_wall"].ladder == -1
    assert [offer.index for offer in graph.offers] == list(range(len(graph.drills)))
    assert list(offers) == list(graph.drills)


def test_patterns_point_at_movements(graph: Graph) -> None:
    for offer in graph.offers:
        pattern = graph.drills[offer.drill].pattern
        named = None if offer.pattern < 0 else list(graph.movements)[offer.pattern]
        assert named == pattern


def test_the_curve_is_in_millionths(graph: Graph) -> None:
    assert graph.curve == ((0, 0), (500_000, 500_000), (1_000_000, 750_000))


def test_mappings_are_read_only_and_in_id_order(graph: Graph) -> None:
    for name in ("movements", "causes", "drills", "sources", "texts", "weights", "event_of"):
        table = getattr(graph, name)
        with pytest.raises(TypeError):
            table["new"] = None
    assert list(graph.drills) == sorted(graph.drills)


def test_the_graph_is_the_same_in_every_process() -> None:
    code = "from tests.compiler.packs import *; print(compile_small(VALID))"
    found = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed},
            cwd=Path(__file__).parents[2],
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(found) == 1
    assert b"ankle_dorsiflexion.range" in found.pop()
