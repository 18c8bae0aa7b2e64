"""Grades follow from value, spread and cut-offs, and what is not seen is said with a check."""

import math
from statistics import NormalDist

import msgspec
import pytest

from service.landmarks.grade import grade_chances
from service.model.screen import Screen
from tests.landmarks.figures import Body, Camera, clip_of, film
from tests.landmarks.pack import cutoffs, read


@pytest.mark.parametrize("value", [-20.0, 5.0, 12.0, 14.0, 40.0])
def test_chances_are_those_of_a_normal_about_the_value(value: float) -> None:
    chances = grade_chances(value, 4.0, 12.0, 16.8)
    normal = NormalDist(value, 4.0)
    assert chances["absent"] == pytest.approx(normal.cdf(12.0), abs=1e-9)
    assert chances["marked"] == pytest.approx(1 - normal.cdf(16.8), abs=1e-9)
    assert math.fsum(chances.values()) == pytest.approx(1.0, abs=1e-12)


def test_where_less_is_worse_the_chances_turn_round() -> None:
    chances = grade_chances(40.0, 3.0, 75.0, 55.0)
    assert chances["marked"] > 0.99
    assert grade_chances(95.0, 3.0, 75.0, 55.0)["absent"] > 0.99


def test_a_grade_is_given_only_above_the_sure_probability() -> None:
    sure = cutoffs()["clip"].numbers["sure_from"]
    for swivel in (0.0, 6.0, 12.0, 18.0, 24.0, 30.0, 40.0):
        body = Body(knee_flexion=70.0, swivel=(swivel, swivel))
        answer = read(clip_of(film(body, Camera(noise=1.0))))
        for u in answer.uncertain:
            assert max(u.absent, u.mild, u.marked) < sure
            assert u.absent + u.mild + u.marked == pytest.approx(1.0, abs=3e-4)
        graded = {(o.finding, o.side) for o in answer.observations}
        assert not graded & {(u.finding, u.side) for u in answer.uncertain}


def test_a_plain_collapse_is_marked_and_a_straight_knee_absent() -> None:
    body = Body(knee_flexion=70.0, swivel=(55.0, 0.0))
    grades = {
        o.side: o.grade
        for o in read(clip_of(film(body, Camera(noise=1.0)))).observations
        if o.finding == "knee_in"
    }
    assert grades == {"left": "marked", "right": "absent"}


def test_the_answer_goes_into_a_screen_as_it_stands() -> None:
    answer = read(clip_of(film(Body(knee_flexion=60.0, shin=20.0), Camera(noise=1.0))))
    assert answer.observations and answer.measurements
    body = {
        "observations": msgspec.to_builtins(answer.observations),
        "measurements": msgspec.to_builtins(answer.measurements),
    }
    screen = msgspec.json.decode(msgspec.json.encode(body), type=Screen)
    assert screen.observations == answer.observations
    assert all(o.n == 3 and o.spread is not None for o in screen.observations)
    assert all(m.n == 3 and m.unit == "deg" for m in screen.measurements)


@pytest.mark.parametrize("view", ["back", "front", "side"])
def test_lower_back_and_arch_are_never_guessed_and_have_a_check(view: str) -> None:
    camera = Camera(view=view)  # type: ignore[arg-type]
    answer = read(clip_of(film(Body(), camera)))
    away = {n.what: n for n in answer.not_observable}
    for finding in ("arch_drop", "lumbar_arch", "lumbar_round", "pelvis_tuck"):
        assert away[finding].instead
    told = {o.finding for o in answer.observations} | {u.finding for u in answer.uncertain}
    assert not told & away.keys()


def test_what_the_view_cannot_show_is_named_with_the_view_that_can() -> None:
    front = {n.what: n for n in read(clip_of(film(Body(), Camera()))).not_observable}
    assert front["depth_short"].reason == front["knee_flexion"].reason == "view"
    assert "side" in front["depth_short"].instead
    back = {n.what: n for n in read(clip_of(film(Body(), Camera(view="back")))).not_observable}
    assert back["knee_in"].reason == "view"
    side = {n.what: n for n in read(clip_of(film(Body(), Camera(view="side")))).not_observable}
    assert side["knee_in"].reason == "view"
    assert "front" in side["knee_in"].instead


def test_the_cut_off_of_the_sex_counts_and_the_wider_one_without() -> None:
    body = Body(
        movement="single_leg_squat", stance="left", knee_flexion=55.0, shin=18.0, swivel=(14, 0)
    )
    filmed = film(body, Camera())

    def absent(sex: str | None) -> float:
        answer = read(clip_of(filmed, sex=sex))  # type: ignore[arg-type]
        return next(u.absent for u in answer.uncertain if u.finding == "knee_in")

    assert absent("male") < absent("female") == absent(None)


def test_left_and_right_are_told_apart_only_beyond_noise() -> None:
    alike = read(clip_of(film(Body(knee_flexion=60.0), Camera(noise=1.0))))
    apart = read(clip_of(film(Body(knee_flexion=60.0, swivel=(55.0, 0.0)), Camera(noise=1.0))))
    assert not any(d.beyond_noise for d in alike.differences)
    found = {d.measure: d for d in apart.differences}
    assert found["knee_medial_shift"].beyond_noise
    assert found["knee_medial_shift"].value > 0
