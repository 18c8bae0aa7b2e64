"""How numbers become likelihood ratios, and which of them stand aside."""

import math
from typing import Any

import pytest

from service.engine.measured import likelihood_ratio, read_measurements, reference_of
from service.model.graph import Graph
from service.model.screen import Client, Measurement, Screen


def weighed(graph: Graph, *told: Measurement, **client: Any) -> tuple[Any, set[str]]:
    screen = Screen(observations=(), measurements=told, client=Client(age_years=30, **client))
    found, notes = read_measurements(screen, graph)
    return found, {code for code, _, _ in notes}


def distance(value: float = 6.0, **changes: Any) -> Measurement:
    told = {"measure": "ankle_lunge_distance", "value": value, "unit": "cm", "side": "left"}
    return Measurement(**{**told, **changes})


def test_the_ratio_is_that_of_two_normals_of_equal_spread() -> None:
    def normal(x: float, mean: float) -> float:
        return math.exp(-((x - mean) ** 2) / (2 * 2.5**2))

    ratio = likelihood_ratio(9.0, 12.0, -3.5, 2.5, 30.0)

    assert ratio == pytest.approx(normal(9.0, 8.5) / normal(9.0, 12.0))


def test_halfway_between_the_means_says_nothing() -> None:
    assert likelihood_ratio(10.25, 12.0, -3.5, 2.5, 30.0) == pytest.approx(1.0)


def test_no_number_moves_odds_by_more_than_the_limit() -> None:
    assert likelihood_ratio(-100.0, 12.0, -3.5, 2.5, 30.0) == pytest.approx(30)
    assert likelihood_ratio(100.0, 12.0, -3.5, 2.5, 30.0) == pytest.approx(1 / 30)


def test_the_spread_holds_the_error_of_the_method(graph: Graph) -> None:
    (found,), _ = weighed(graph, distance())
    record = graph.measures["ankle_lunge_distance"]
    method = record.methods[0]
    reference = reference_of(record, method.id, Client(age_years=30))
    assert reference is not None
    assert method.sem
    spread = math.hypot(reference.sd, method.sem)
    shift = record.speaks_for[0].shift

    expected = likelihood_ratio(6.0, reference.mean, shift, spread, 30.0)
    assert found.ratio == pytest.approx(expected, rel=1e-12)


def test_repeats_are_averaged(graph: Graph) -> None:
    several, _ = weighed(graph, distance(5.0), distance(7.0))

    assert [m.value for m in several] == [6.0]
    assert several[0].ratio == weighed(graph, distance(6.0))[0][0].ratio


def test_both_is_a_value_for_each_side(graph: Graph) -> None:
    found, _ = weighed(graph, distance(side="both"))

    assert [m.side for m in found] == ["left", "right"]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"unit": "deg"}, "unit_mismatch"),
        ({"value": 80.0}, "implausible"),
        ({"side": "none"}, "side_missing"),
    ],
)
def test_what_cannot_be_weighed_stands_aside(
    graph: Graph, changes: dict[str, Any], code: str
) -> None:
    assert weighed(graph, distance(**changes)) == ((), {code})


def test_an_unknown_method_is_said_and_the_default_serves(graph: Graph) -> None:
    found, codes = weighed(graph, distance(method="by_eye"))

    assert codes == {"method_unknown"}
    assert found[0].method == graph.measures["ankle_lunge_distance"].default_method


def test_a_family_counts_once_on_a_side_the_most_reliable(graph: Graph) -> None:
    loose = Measurement(measure="ankle_dorsiflexion", value=5, unit="deg", side="left")
    other = Measurement(measure="ankle_dorsiflexion", value=5, unit="deg", side="right")
    found, codes = weighed(graph, distance(), loose, other)

    assert [(m.measure, m.side) for m in found] == [
        ("ankle_dorsiflexion", "right"),
        ("ankle_lunge_distance", "left"),
    ]
    assert codes == {"family_counts_once"}


def test_the_reference_is_that_of_the_clients_sex(graph: Graph) -> None:
    by_sex = [
        record
        for record in graph.measures.values()
        if {r.sex for r in record.references} >= {"female", "male"} and record.speaks_for
    ]
    assert by_sex
    for record in by_sex:
        side = "left" if record.sided else "none"
        value = record.references[0].mean
        told = Measurement(measure=record.id, value=value, unit=record.unit, side=side)  # type: ignore[arg-type]
        for sex in ("female", "male"):
            found, _ = weighed(graph, told, sex=sex)
            means = {r.mean for r in record.references if r.sex == sex}
            assert {m.mean for m in found} <= means, f"{record.id}, {sex}"


def test_a_silent_measure_is_said_to_carry_no_weight(graph: Graph) -> None:
    silent = [record for record in graph.measures.values() if record.silent]
    assert silent
    for record in silent:
        told = Measurement(measure=record.id, value=record.lowest, unit=record.unit, side="left")  # type: ignore[arg-type]
        assert weighed(graph, told) == ((), {"measure_silent"})
