"""Worked cases of the published table, recomputed, and what the pack makes of each.

WC002 (an angle from body landmarks) belongs to the room that reads landmarks and waits for it.
"""

import itertools
import math
from statistics import NormalDist

import pytest

from service.engine.eye import Look, folded
from service.engine.measured import read_measurements
from service.engine.safety import judge
from service.model.graph import Graph
from service.model.screen import Client, Measurement, Screen
from tests.truth.tables import MDC_PER_SEM, figures, published


def odds(probability: float) -> float:
    return probability / (1 - probability)


def after(prior: float, ratio: float) -> float:
    """Return the posterior probability for a likelihood ratio."""
    posterior = odds(prior) * ratio
    return posterior / (1 + posterior)


def test_wc001_how_far_apart_the_knees_that_the_eye_calls_in_are() -> None:
    # Mauntel 2014: 12.86 (SD 5.76) against 6.08 (SD 5.23) degrees
    apart = 12.86 - 6.08
    spread = math.sqrt((5.76**2 + 5.23**2) / 2)
    assert apart / spread == pytest.approx(1.23, abs=0.005)
    area = NormalDist().cdf(apart / math.sqrt(5.76**2 + 5.23**2))
    assert area == pytest.approx(0.81, abs=0.005)
    assert pytest.approx(9.5, abs=0.05) == (12.86 + 6.08) / 2
    assert figures(published("VR020")["value"]) == ("12.86", "6.08")


def test_wc004_smallest_change_beyond_noise_of_the_knee_angle(graph: Graph) -> None:
    # Munro 2012: SEM 2.72 and 3.22; Peeler 2008: SEM 7
    assert pytest.approx(7.54, abs=0.005) == 2.72 * MDC_PER_SEM
    assert pytest.approx(8.93, abs=0.005) == 3.22 * MDC_PER_SEM
    assert pytest.approx(19.4, abs=0.05) == 7 * MDC_PER_SEM
    held = {m.id: m for m in graph.measures["knee_projection_angle"].methods}["video_2d"]
    assert (held.sem, held.mdc95) == (3.22, 8.93)


def test_wc005_a_knee_called_in_on_the_overhead_squat(graph: Graph) -> None:
    # Post 2017: sensitivity 0.58 to 0.83, specificity 0.70 to 0.88, middle 0.70 and 0.79
    eye = graph.eyes["overhead_squat", "knee_in", "front"]
    assert (eye.sensitivity, eye.specificity, eye.source) == (0.70, 0.79, "post-2017")
    seen, unseen = 0.70 / (1 - 0.79), (1 - 0.70) / 0.79
    assert seen == pytest.approx(3.33, abs=0.005)
    assert unseen == pytest.approx(0.38, abs=0.005)
    assert after(0.30, seen) == pytest.approx(0.59, abs=0.005)
    assert after(0.30, unseen) == pytest.approx(0.14, abs=0.005)
    assert pytest.approx(1.93, abs=0.005) == 0.58 / (1 - 0.70)
    assert pytest.approx(6.92, abs=0.005) == 0.83 / (1 - 0.88)


def test_wc005_the_engine_folds_that_eye_to_the_same_posterior() -> None:
    # one sure cause, no leak of its own: P(seen | cause) must be 0.70, without it 0.21
    fold = folded((Look(seen=True, sensitivity=0.70, specificity=0.79),), 0.0)
    assert fold is not None
    with_cause = 1 - (1 - fold.leak) * (1 - fold.scale)
    assert with_cause == pytest.approx(0.70)
    assert fold.leak == pytest.approx(0.21)
    assert after(0.30, with_cause / fold.leak) == pytest.approx(0.59, abs=0.005)


def test_wc008_an_uninformative_test_adds_no_weight_and_is_named(graph: Graph) -> None:
    # Vigotsky 2016: sensitivity 0.3182, specificity 0.5714
    assert pytest.approx(0.74, abs=0.005) == 0.3182 / (1 - 0.5714)
    assert pytest.approx(1.19, abs=0.005) == (1 - 0.3182) / 0.5714
    screen = Screen(
        observations=(),
        measurements=(
            Measurement(measure="hip_extension", value=-20.0, unit="deg", side="left"),
            Measurement(measure="hip_flexion", value=95.0, unit="deg", side="left"),
        ),
    )
    weighed, told = read_measurements(screen, graph)
    assert [m.measure for m in weighed] == ["hip_flexion"]
    assert [(code, pointer) for code, pointer, _ in told] == [("measure_silent", "/measurements/0")]
    assert "vigotsky-2016" in graph.measures["hip_extension"].sources


def test_wc010_a_sign_that_is_rarely_right_still_sends_the_client_on(graph: Graph) -> None:
    # single-centre MRI series: 25 of 334; leg weakness, sensitivity 0.68, specificity 0.72
    ratio = 0.68 / (1 - 0.72)
    assert ratio == pytest.approx(2.43, abs=0.005)
    assert pytest.approx(0.075, abs=0.0005) == 25 / 334
    assert after(25 / 334, ratio) == pytest.approx(0.164, abs=0.0005)
    assert odds(0.68) * odds(0.72) == pytest.approx(5.46, abs=0.005)
    screen = Screen(observations=(), client=Client(alerts=("progressive_weakness",)))
    assert judge(screen, "squat", graph).refer


@pytest.mark.parametrize(
    ("gain", "beyond"),
    [(5.17, True), (2.07, False), (3.03, False)],  # Medeiros 2018; Radford 2006, both ends
)
def test_wc012_a_stretched_ankle_gains_about_as_much_as_the_noise(
    graph: Graph, gain: float, beyond: bool
) -> None:
    held = {m.id: m for m in graph.measures["ankle_lunge_angle"].methods}["inclinometer"]
    assert held.mdc95 == 4.7  # Powden 2015, same rater
    assert (gain > held.mdc95) is beyond


def test_wc015_the_inner_thigh_ladder_follows_the_published_order(graph: Graph) -> None:
    # Serner 2014: side-lying 64, squeeze between the knees 108, between the ankles 86,
    # band 103, long lever 108 (Copenhagen adduction), in % of peak
    lying, knees, ankles, band, long_lever = (
        float(figures(published(row)["value"])[0])
        for row in ("EM042", "EM036", "EM041", "EM038", "EM037")
    )
    gaps = tuple(long_lever - other for other in (lying, ankles, band, knees))
    assert gaps == (44, 22, 5, 0)
    rungs = graph.ladders["inner_thigh_strength"].rungs
    published_order = (
        "adduction_side_lying",
        "adduction_squeeze",
        "adduction_band_standing",
        "adduction_bench_long",
    )
    places = [rungs.index(rung) for rung in published_order]
    assert all(a < b for a, b in itertools.pairwise(places))


def test_wc019_a_band_is_a_strength_drill_and_is_never_said_to_put_the_knee_right(
    graph: Graph,
) -> None:
    # 2023 review: of seven studies that report the knee line, none better and five worse
    assert published("BT008")["value"].startswith("alignment: 0 better, 2 unchanged, 5 worse")
    banded = [d for d in graph.drills.values() if any("mini_band" in kit for kit in d.kit)]
    steps = [d for d in banded if d.id.startswith("side_step")]
    assert steps
    assert all(d.aim == "control" for d in steps)
    told = " ".join(f"{d.cue} {d.good_looks_like} {d.touch_cue}".lower() for d in banded)
    for claim in ("correct", "fixes", "straighten your knee", "puts the knee right"):
        assert claim not in told
