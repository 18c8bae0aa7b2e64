"""What must not matter does not: place, size, mirror, frame rate, and how points are written."""

import msgspec
import numpy as np
import pytest

from service.landmarks.layouts import TABLES
from service.model.landmarks import Clip, ImageSize, LandmarkAnswer
from tests.landmarks.figures import (
    HEIGHT,
    WIDTH,
    Array,
    Body,
    Camera,
    Filmed,
    clip_of,
    film,
    frames_of,
    grid_of,
)
from tests.landmarks.pack import read

FRONT = film(Body(swivel=(24.0, 12.0), side_lean=5.0, shift=0.03), Camera(noise=0.0))
SIDE = film(Body(movement="overhead_squat", arm_start=175, arm_bottom=150), Camera(view="side"))
ONE = film(
    Body(movement="single_leg_squat", stance="left", knee_flexion=60, shin=20, swivel=(15, 0)),
    Camera(view="front"),
)
CLIPS = [clip_of(FRONT), clip_of(SIDE), clip_of(ONE), clip_of(FRONT, "coco17")]


def same(one: LandmarkAnswer, other: LandmarkAnswer, within: float = 0.1) -> None:
    """Assert that two answers say the same, angles within a tenth of a degree."""
    assert [(s.measure, s.side) for s in one.summaries] == [
        (s.measure, s.side) for s in other.summaries
    ]
    for a, b in zip(one.summaries, other.summaries, strict=True):
        assert b.value == pytest.approx(a.value, abs=within), (a.measure, a.side)
    assert [(o.finding, o.side, o.grade) for o in one.observations] == [
        (o.finding, o.side, o.grade) for o in other.observations
    ]
    assert len(one.repetitions) == len(other.repetitions)


def with_grid(clip: Clip, grid: Array, **fields: object) -> Clip:
    return msgspec.structs.replace(clip, frames=frames_of(grid), **fields)


@pytest.mark.parametrize("clip", CLIPS)
def test_size_and_place_in_the_picture_change_nothing(clip: Clip) -> None:
    grid = grid_of(clip)
    grid[..., :2] = grid[..., :2] * 0.37 + np.array([211.0, 97.0])
    same(read(clip), read(with_grid(clip, grid, image=None)), 1e-3)


@pytest.mark.parametrize("clip", CLIPS)
def test_normalised_points_say_what_pixels_say(clip: Clip) -> None:
    grid = grid_of(clip)
    grid[..., :2] /= np.array([WIDTH, HEIGHT])
    same(read(clip), read(with_grid(clip, grid, coordinates="normalised")), 1e-3)


@pytest.mark.parametrize("clip", CLIPS)
def test_a_selfie_that_is_said_to_be_mirrored_says_the_same(clip: Clip) -> None:
    same(read(clip), read(flipped(clip, mirrored=True)), 1e-3)


@pytest.mark.parametrize("clip", [CLIPS[0], CLIPS[2], CLIPS[3]])
def test_a_client_the_other_way_round_swaps_left_and_right(clip: Clip) -> None:
    swap = {"left": "right", "right": "left", "none": "none"}
    one, other = read(clip), read(flipped(clip, mirrored=False))
    midline = {"pelvis_shift", "trunk_side_lean"}
    was = {(s.measure, s.side): s.value for s in one.summaries}
    now = {
        (s.measure, swap[s.side]): -s.value
        if s.measure in midline and s.side == "none"
        else s.value
        for s in other.summaries
    }
    assert was.keys() == now.keys()
    for key, value in was.items():
        assert now[key] == pytest.approx(value, abs=0.1), key


def flipped(clip: Clip, *, mirrored: bool) -> Clip:
    """Return the clip of the mirrored picture: places flipped, labels as a finder would give."""
    grid = grid_of(clip)
    grid[..., 0] = WIDTH - grid[..., 0]
    table = TABLES[clip.layout]
    order = list(range(grid.shape[1]))
    for name, index in table.items():
        if name.startswith("left_"):
            other = table[f"right_{name[5:]}"]
            order[index], order[other] = other, index
    return with_grid(clip, grid[:, order], mirrored=mirrored)


@pytest.mark.parametrize("filmed", [FRONT, SIDE, ONE])
@pytest.mark.parametrize("fps", [48.0, 60.0])
def test_the_frame_rate_changes_nothing(filmed: Filmed, fps: float) -> None:
    body, view = filmed.body, filmed.camera.view
    one = read(clip_of(film(body, Camera(view=view, fps=30.0))))
    other = read(clip_of(film(body, Camera(view=view, fps=fps))))
    # excursion and lead rest on single frames, and wobble on the filter's own corner
    for a, b in zip(one.summaries, other.summaries, strict=True):
        assert b.value == pytest.approx(a.value, abs=0.1), (a.measure, a.side)


def test_both_layouts_agree_where_both_have_the_points() -> None:
    whole, part = read(clip_of(FRONT)), read(clip_of(FRONT, "coco17"))
    of = {(s.measure, s.side): s.value for s in whole.summaries}
    for s in part.summaries:
        assert s.value == pytest.approx(of[s.measure, s.side], abs=1e-6)
    missing = {n.what: n.reason for n in part.not_observable}
    assert missing["foot_turn_out"] == missing["foot_pivots_out"] == "layout"


def test_the_same_clip_gives_the_same_bytes() -> None:
    encode = msgspec.json.encode
    assert encode(read(CLIPS[0])) == encode(read(CLIPS[0]))


def test_an_image_of_another_shape_would_change_angles() -> None:
    grid = grid_of(CLIPS[0])
    grid[..., :2] /= np.array([WIDTH, HEIGHT])
    clip = with_grid(CLIPS[0], grid, coordinates="normalised")
    wrong = msgspec.structs.replace(clip, image=ImageSize(width=WIDTH, height=WIDTH))
    one = {(s.measure, s.side): s.value for s in read(clip).summaries}
    other = {(s.measure, s.side): s.value for s in read(wrong).summaries}
    key = ("knee_projection_angle", "left")
    assert abs(one[key] - other[key]) > 1.0
