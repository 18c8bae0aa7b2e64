"""Repetitions, their times and their legs, against bodies that are known to do them."""

import msgspec
import pytest

from tests.landmarks.figures import Body, Camera, clip_of, film
from tests.landmarks.pack import read


@pytest.mark.parametrize("repeats", [1, 2, 5])
@pytest.mark.parametrize("seconds", [1.6, 3.0, 5.0])
def test_every_repetition_is_found_at_its_time(repeats: int, seconds: float) -> None:
    body = Body(repeats=repeats, seconds=seconds)
    answer = read(clip_of(film(body, Camera(noise=2.0)), seed=2))
    assert len(answer.repetitions) == repeats
    for n, one in enumerate(answer.repetitions):
        begins = 0.7 + n * (seconds + 0.7)
        assert one.bottom_s == pytest.approx(begins + seconds / 2, abs=0.1)
        assert begins - 0.05 <= one.start_s < one.bottom_s < one.end_s <= begins + seconds + 0.05
        # down and up take the same time, and are told without the rest at either end
        assert one.lower_s == pytest.approx(one.rise_s, abs=0.15)
        whole = one.lower_s + one.bottom_hold_s + one.rise_s
        assert whole == pytest.approx(one.end_s - one.start_s, abs=0.01)


@pytest.mark.parametrize("stance", ["left", "right"])
@pytest.mark.parametrize("view", ["front", "back", "side"])
def test_the_standing_leg_is_the_one_that_stays(stance: str, view: str) -> None:
    body = Body(
        movement="single_leg_squat", stance=stance, knee_flexion=60.0, shin=20.0, trunk=20.0
    )
    answer = read(clip_of(film(body, Camera(view=view, noise=2.0))))  # type: ignore[arg-type]
    assert [r.side for r in answer.repetitions] == [stance] * 3
    knees = {s.side for s in answer.summaries if s.measure.startswith("knee")}
    assert knees == {stance}


def test_the_standing_leg_that_a_caller_names_counts() -> None:
    body = Body(movement="single_leg_squat", stance="left", knee_flexion=60.0, shin=20.0)
    clip = msgspec.structs.replace(clip_of(film(body, Camera())), side="right")
    assert {r.side for r in read(clip).repetitions} == {"right"}


def test_a_leg_that_cannot_be_told_is_said_to_be_so() -> None:
    # both feet on the floor: this is no squat on one leg
    body = Body(movement="single_leg_squat", stance="both", knee_flexion=60.0, shin=20.0)
    answer = read(clip_of(film(body, Camera())))
    assert "standing_leg_unclear" in {w.code for w in answer.warnings}
    assert not [o for o in answer.observations if o.finding == "knee_in"]


def test_standing_on_one_leg_is_one_hold() -> None:
    body = Body(movement="single_leg_stance", stance="right", knee_flexion=6.0, shin=3.0, trunk=3.0)
    answer = read(clip_of(film(body, Camera(noise=2.0))))
    assert [r.side for r in answer.repetitions] == ["right"]
    assert answer.repetitions[0].end_s > 5


def test_a_shallow_start_between_deep_ones_is_no_repetition() -> None:
    # a third of the way down and up again stays within the hysteresis
    clip = clip_of(film(Body(repeats=2), Camera()))
    shallow = clip_of(film(Body(repeats=1, knee_flexion=40.0, shin=14.0), Camera()))
    joined = msgspec.structs.replace(clip, frames=shallow.frames + clip.frames)
    assert len(read(joined).repetitions) == 2


def test_a_hinge_is_told_by_the_shoulders() -> None:
    body = Body(movement="hinge", knee_flexion=20.0, shin=2.0, trunk=70.0)
    answer = read(clip_of(film(body, Camera(view="side"))))
    assert len(answer.repetitions) == 3
    lean = next(s for s in answer.summaries if s.measure == "trunk_forward_lean")
    assert lean.value == pytest.approx(70.0, abs=2.0)
