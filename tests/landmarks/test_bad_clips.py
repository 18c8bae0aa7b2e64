"""Everything that can be wrong with a clip has a name, and nothing is guessed in its stead."""

import re
from collections.abc import Callable
from pathlib import Path

import msgspec
import numpy as np
import pytest

from service.model.landmarks import Clip, LandmarkAnswer
from tests.landmarks.figures import (
    HEIGHT,
    WIDTH,
    Array,
    Body,
    Camera,
    clip_of,
    film,
    frames_of,
    grid_of,
)
from tests.landmarks.pack import read, texts

ROOM = Path(__file__).parents[2] / "service" / "landmarks"

GOOD = clip_of(film(Body(swivel=(20.0, 20.0)), Camera(noise=1.5)))
SIDE = clip_of(film(Body(), Camera(view="side", noise=1.5)))


def codes(answer: LandmarkAnswer) -> set[str]:
    return {warning.code for warning in answer.warnings}


def changed(change: Callable[[Array], Array], clip: Clip = GOOD, **fields: object) -> Clip:
    frames = frames_of(change(grid_of(clip)))
    return msgspec.structs.replace(clip, frames=frames, **fields)


def nothing_is_concluded(answer: LandmarkAnswer) -> bool:
    return not (answer.observations or answer.measurements or answer.uncertain)


def test_a_good_clip_has_no_warning_and_three_repetitions() -> None:
    answer = read(msgspec.structs.replace(GOOD, movement="squat"))
    assert codes(answer) <= {"angle_left_out"}
    assert len(answer.repetitions) == 3


def test_a_number_that_is_none_counts_as_missing_and_is_told() -> None:
    def spoil(grid: Array) -> Array:
        grid[10, 25, 0] = np.nan
        grid[11, 25, 1] = np.inf
        return grid

    answer = read(changed(spoil))
    assert "not_a_number" in codes(answer)
    assert len(answer.repetitions) == 3


def test_null_in_json_is_the_same_as_a_missing_number() -> None:
    body = b'{"movement":"squat","view":"front","layout":"coco17","fps":30,"frames":'
    body += b"[" + b",".join([b"[" + b",".join([b"[1,2,null]"] * 17) + b"]"] * 5) + b"]}"
    answer = read(msgspec.json.decode(body, type=Clip))
    assert {"not_a_number", "all_missing"} <= codes(answer)
    assert nothing_is_concluded(answer)


def test_a_negative_confidence_counts_as_missing_and_is_told() -> None:
    def spoil(grid: Array) -> Array:
        grid[20, 25, 2] = -0.5
        return grid

    assert "confidence_negative" in codes(read(changed(spoil)))


def test_a_confidence_above_one_is_told() -> None:
    def spoil(grid: Array) -> Array:
        grid[:, 25, 2] = 3.0
        return grid

    assert "confidence_above_one" in codes(read(changed(spoil)))


def test_frames_of_another_length_are_left_out_and_the_first_is_pointed_at() -> None:
    frames = list(GOOD.frames)
    frames[7] = frames[7][:20]
    frames[9] = ()
    answer = read(msgspec.structs.replace(GOOD, frames=tuple(frames)))
    found = next(w for w in answer.warnings if w.code == "frame_length")
    assert found.pointer == "/frames/7"
    assert "2 frames" in found.text


@pytest.mark.parametrize(("count", "code"), [(0, "no_frames"), (1, "one_frame")])
def test_too_few_frames_have_names(count: int, code: str) -> None:
    answer = read(msgspec.structs.replace(GOOD, frames=GOOD.frames[:count]))
    assert code in codes(answer)
    assert nothing_is_concluded(answer)


def test_all_points_missing_is_told() -> None:
    def spoil(grid: Array) -> Array:
        grid[..., 2] = 0.0
        return grid

    answer = read(changed(spoil))
    assert codes(answer) == {"all_missing"}
    assert nothing_is_concluded(answer)


def test_a_body_outside_the_picture_is_told_and_not_measured_there() -> None:
    def spoil(grid: Array) -> Array:
        grid[..., 0] += WIDTH
        return grid

    answer = read(changed(spoil))
    assert {"out_of_picture", "all_missing"} <= codes(answer)
    assert nothing_is_concluded(answer)


def test_feet_outside_the_picture_take_away_what_needs_them_and_no_more() -> None:
    def spoil(grid: Array) -> Array:
        grid[..., 1] += HEIGHT - np.nanmax(grid[:, 25:27, 1]) - 40
        return grid

    answer = read(changed(spoil))
    assert "out_of_picture" in codes(answer)
    away = {n.what: n.reason for n in answer.not_observable}
    assert away["knee_medial_shift"] == away["knee_in"] == "points"
    assert "trunk_side_lean" in {s.measure for s in answer.summaries}


def test_a_second_person_for_a_while_is_left_out() -> None:
    clean = read(GOOD)

    def spoil(grid: Array) -> Array:
        grid[5:15, :, 0] += 400
        grid[5:15, :, 1] += 120
        return grid

    answer = read(changed(spoil, image=None))
    assert "jumps" in codes(answer)
    assert len(answer.repetitions) == len(clean.repetitions)
    for was, now in zip(clean.summaries, answer.summaries, strict=True):
        assert now.value == pytest.approx(was.value, abs=0.6), was.measure


def test_left_and_right_changing_places_for_a_few_frames_are_left_out() -> None:
    clean = read(GOOD)

    def spoil(grid: Array) -> Array:
        order = [0, *range(1, 11), *(n + 1 if n % 2 else n - 1 for n in range(11, 33))]
        grid[60:64] = grid[60:64][:, order]
        return grid

    answer = read(changed(spoil))
    assert "jumps" in codes(answer)
    shift = {s.side: s.value for s in answer.summaries if s.measure == "knee_medial_shift"}
    usual = {s.side: s.value for s in clean.summaries if s.measure == "knee_medial_shift"}
    assert shift["left"] == pytest.approx(usual["left"], abs=1.0)


def test_a_clip_without_movement_says_so() -> None:
    def still(grid: Array) -> Array:
        return np.repeat(grid[:1], 90, axis=0)

    answer = read(changed(still))
    assert "static_clip" in codes(answer)
    assert nothing_is_concluded(answer)
    assert answer.repetitions == ()


def test_all_points_on_one_spot_are_no_body() -> None:
    def gather(grid: Array) -> Array:
        grid[..., :2] = 300.0
        return grid

    answer = read(changed(gather))
    assert codes(answer) == {"no_body"}
    assert nothing_is_concluded(answer)


def test_a_picture_upside_down_is_not_measured() -> None:
    def turn(grid: Array) -> Array:
        grid[..., 0] = WIDTH - grid[..., 0]
        grid[..., 1] = HEIGHT - grid[..., 1]
        return grid

    answer = read(changed(turn))
    assert "upside_down" in codes(answer)
    assert nothing_is_concluded(answer)


def test_a_picture_on_its_side_is_not_measured() -> None:
    def turn(grid: Array) -> Array:
        return np.stack([grid[..., 1], grid[..., 0], grid[..., 2]], axis=2)

    answer = read(changed(turn, image=None))
    assert "on_its_side" in codes(answer)
    assert nothing_is_concluded(answer)


def test_half_a_repetition_is_no_repetition() -> None:
    answer = read(msgspec.structs.replace(GOOD, frames=GOOD.frames[: round(30 * 2.0)]))
    assert "no_repetition" in codes(answer)
    assert nothing_is_concluded(answer)


def test_few_frames_a_second_are_told_and_take_wobble_away() -> None:
    slow = clip_of(film(Body(), Camera(fps=10.0)))
    answer = read(slow)
    assert "few_frames" in codes(answer)
    assert "knee_wobble" in {n.what for n in answer.not_observable}


def test_a_long_gap_within_a_repetition_drops_that_repetition_alone() -> None:
    def spoil(grid: Array) -> Array:
        grid[30:60, :, 2] = 0.0
        return grid

    answer = read(changed(spoil))
    assert "gap_in_repetition" in codes(answer)
    assert len(answer.repetitions) == 2


def test_normalised_points_without_the_size_of_the_picture_are_not_measured() -> None:
    answer = read(msgspec.structs.replace(GOOD, coordinates="normalised", image=None))
    assert codes(answer) == {"image_missing"}
    assert nothing_is_concluded(answer)


def test_more_than_a_minute_is_cut() -> None:
    slow = msgspec.structs.replace(GOOD, fps=4.0)
    assert "clip_cut" in codes(read(slow))


@pytest.mark.parametrize(("clip", "view"), [(SIDE, "front"), (GOOD, "side")])
def test_a_view_that_the_shoulders_contradict_gives_no_grades(clip: Clip, view: str) -> None:
    answer = read(msgspec.structs.replace(clip, view=view))
    assert codes(answer) & {"view_contradicted", "facing_unclear"}
    assert nothing_is_concluded(answer)


def test_a_mirrored_picture_that_is_not_said_to_be_gives_no_grades() -> None:
    def flip(grid: Array) -> Array:
        grid[..., 0] = WIDTH - grid[..., 0]
        return grid

    answer = read(changed(flip))
    assert "sides_contradict_view" in codes(answer)
    assert nothing_is_concluded(answer)


def test_a_tilted_camera_takes_the_leans_away() -> None:
    answer = read(clip_of(film(Body(), Camera(roll=9.0))))
    assert "camera_tilted" in codes(answer)
    away = {n.what: n.reason for n in answer.not_observable}
    assert away["trunk_side_lean"] == away["pelvis_drop"] == "camera"


def test_a_camera_far_off_centre_takes_the_knees_away() -> None:
    answer = read(clip_of(film(Body(knee_flexion=100.0), Camera(yaw=18.0))))
    assert "camera_off_centre" in codes(answer)
    away = {n.what: n.reason for n in answer.not_observable}
    assert away["knee_in"] == away["hips_off_centre"] == "camera"
    assert not answer.measurements


def test_every_warning_has_words_and_every_word_a_warning() -> None:
    source = "".join(path.read_text() for path in sorted(ROOM.glob("*.py")))
    named = set(re.findall(r'\(\s*"([a-z_]+)"(?: if frames else "([a-z_]+)")?, "/', source))
    for code in texts():
        assert f'"{code.removeprefix("landmarks_")}"' in source, code
    assert {code for pair in named for code in pair if code} <= {
        code.removeprefix("landmarks_") for code in texts()
    }
