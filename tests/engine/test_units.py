"""Other units of one measure: the same number, the same answer, and the same alerts."""

import msgspec
import pytest

from service.engine.plan import plan
from service.engine.read import read
from service.engine.review import review
from service.engine.units import FACTORS, in_pack_units
from service.model.graph import Graph
from service.model.review import ReviewRequest
from service.model.screen import Screen

SEEN = {"movement": "squat", "view": "front", "finding": "knee_in", "grade": "marked",
        "side": "both"}  # fmt: skip


def screen(measure: str, value: float, unit: str, side: str = "left") -> Screen:
    told = {"measure": measure, "value": value, "unit": unit, "side": side, "same_rater": True}
    client = {"alerts": [], "conditions": [], "pain": []}
    return msgspec.convert(
        {"observations": [SEEN], "measurements": [told], "client": client}, Screen
    )


def test_factors_are_the_published_definitions() -> None:
    """UCUM table 5 and 7; an inch is 2.54 cm exactly, a millimetre of mercury 133.322 Pa."""
    assert FACTORS["[in_i]", "cm"] == 2.54
    assert FACTORS["kPa", "mm[Hg]"] == pytest.approx(7.50064, abs=1e-4)
    assert FACTORS["rad", "deg"] == pytest.approx(57.29578, abs=1e-5)


@pytest.mark.parametrize(
    ("measure", "value", "unit", "same", "pack"),
    [
        ("ankle_lunge_distance", 70, "mm", 7.0, "cm"),
        ("ankle_lunge_distance", 0.07, "m", 7.0, "cm"),
        ("ankle_lunge_distance", 2.5, "[in_i]", 6.35, "cm"),
        ("side_plank_hold", 0.75, "min", 45, "s"),
    ],
)
def test_a_measurement_in_another_unit_is_the_same_measurement(
    graph: Graph, measure: str, value: float, unit: str, same: float, pack: str
) -> None:
    one, other = screen(measure, value, unit), screen(measure, same, pack)
    assert read(one, graph) == read(other, graph)
    assert plan(one, graph).causes == plan(other, graph).causes


def test_a_unit_that_does_not_convert_is_named_and_not_used(graph: Graph) -> None:
    answer = plan(screen("ankle_lunge_distance", 7, "kPa"), graph)
    assert [w.pointer for w in answer.warnings if w.code == "unit_mismatch"] == ["/measurements/0"]


def test_blood_pressure_in_kilopascal_stops_as_it_does_in_millimetres(graph: Graph) -> None:
    high = [plan(screen("blood_pressure_systolic", v, u, "none"), graph)
            for v, u in ((200, "mm[Hg]"), (26.67, "kPa"))]  # fmt: skip
    assert high[0].verdict == high[1].verdict == "refer"
    calm = plan(screen("blood_pressure_systolic", 16.0, "kPa", "none"), graph)
    assert calm.verdict != "refer"


def test_two_days_in_two_units_are_compared(graph: Graph) -> None:
    asked = ReviewRequest(
        baseline=screen("ankle_lunge_distance", 70, "mm"),
        retest=screen("ankle_lunge_distance", 10, "cm"),
        days_between=35,
    )
    (one,) = review(asked, graph).measures
    assert (one.was, one.now, one.unit, one.real_change) == (7.0, 10.0, "cm", True)


def test_a_screen_in_the_units_of_the_pack_stays_as_it_is(graph: Graph) -> None:
    plain = screen("ankle_lunge_distance", 7, "cm")
    assert in_pack_units(plain, graph) is plain
