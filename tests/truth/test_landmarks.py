"""Angles and cut-offs of landmarks against what has been published."""

import math

import numpy as np
import pytest

from service.landmarks.curves import projection_angle
from tests.landmarks.figures import Body, Camera, clip_of, film
from tests.landmarks.pack import cutoffs, read
from tests.truth.tables import MDC_PER_SEM, figures, published


def leg(thigh_from_level: float, shin_from_level: float) -> tuple[np.ndarray, ...]:
    """Return hip, knee, ankle of a leg whose midline lies towards +x, y upwards.

    The thigh leans inwards on its way down; the shin leans outwards on its way up, both told as
    angles from level.
    """
    knee = np.zeros(2)
    thigh, shin = math.radians(thigh_from_level), math.radians(shin_from_level)
    hip = knee + np.array([-math.cos(thigh), math.sin(thigh)])
    ankle = knee + np.array([math.cos(shin), -math.sin(shin)])
    return hip, knee, ankle


@pytest.mark.parametrize(("thigh", "shin", "nth"), [(77.4, 89.0, 0), (81.2, 86.3, 1)])
def test_the_projection_angle_of_ageberg_2010_from_its_segment_tilts(
    thigh: float, shin: float, nth: int
) -> None:
    # WC002: tibia 89.0 and thigh 77.4 degrees from level; 86.3 and 81.2 over the foot
    row = published("WC002")
    assert f"{thigh}" in row["note"] and f"{shin}" in row["note"]
    angle = projection_angle(*leg(thigh, shin), np.array(1.0))
    assert float(angle) == pytest.approx(float(figures(row["value"])[nth]), abs=0.05)


def test_a_straight_leg_has_no_angle_and_a_knee_inside_has_a_positive_one() -> None:
    hip, ankle = np.array([0.0, 1.0]), np.array([0.0, -1.0])
    assert float(projection_angle(hip, np.zeros(2), ankle, np.array(1.0))) == 0.0
    inside = projection_angle(hip, np.array([0.1, 0.0]), ankle, np.array(1.0))
    assert float(inside) == pytest.approx(2 * math.degrees(math.atan(0.1)))
    assert float(projection_angle(hip, np.array([0.1, 0.0]), ankle, np.array(-1.0))) < 0


def test_the_error_of_the_angle_is_the_larger_sem_of_munro_2012() -> None:
    error = cutoffs()["knee_projection_angle"].error
    mdc = float(figures(published("FP002")["mdc95"])[-1])
    assert error * MDC_PER_SEM == pytest.approx(mdc, abs=0.01)


@pytest.mark.parametrize(("sex", "row"), [("female", "FP007"), ("male", "FP008")])
def test_the_knee_comes_in_where_the_usual_range_ends(sex: str, row: str) -> None:
    # upper end of the usual range in a one-leg step landing, Herrington and Munro 2010
    printed = published(row)["value"].split("-")[1]
    (found,) = [g for g in cutoffs()["knee_projection_angle"].grades if g.sex == sex]
    assert found.mild == float(printed)


def test_a_marked_angle_is_the_mean_of_the_larger_group_of_herrington_2014() -> None:
    mean = float(figures(published("FP009")["value"])[0])
    assert {g.marked for g in cutoffs()["knee_projection_angle"].grades} == {mean}


def test_a_clip_of_a_known_angle_gives_that_angle_back() -> None:
    # from far away and dead square, what is left is averaging over the bottom
    camera = Camera(distance=40.0, focal=28000.0, height=0.85)
    body = Body(
        movement="single_leg_squat",
        stance="left",
        knee_flexion=60.0,
        shin=20.0,
        swivel=(15.0, 0.0),
        trunk=15.0,
    )
    filmed = film(body, camera)
    answer = read(clip_of(filmed))
    (angle,) = answer.measurements
    assert angle.value == pytest.approx(filmed.truth["knee_projection_angle/left"], abs=0.6)
