"""The pictures are well-formed, hold what they should, and stay small."""

import xml.etree.ElementTree as ElementTree

import msgspec

from tests.landmarks.figures import Body, Camera, clip_of, film
from tests.landmarks.pack import read

SPACE = "{http://www.w3.org/2000/svg}"


def test_the_figure_shows_the_body_and_the_angle_at_each_knee() -> None:
    answer = read(clip_of(film(Body(knee_flexion=60.0, swivel=(30.0, 0.0)), Camera())))
    root = ElementTree.fromstring(answer.figure)
    assert root.tag == f"{SPACE}svg"
    words = [text.text for text in root.iter(f"{SPACE}text")]
    assert len(words) == 2
    assert all(word is not None and word.endswith("°") for word in words)
    assert len(list(root.iter(f"{SPACE}path"))) == 14
    assert root.find(f"{SPACE}title") is not None


def test_the_chart_marks_every_repetition() -> None:
    answer = read(clip_of(film(Body(repeats=4), Camera(view="side"))))
    root = ElementTree.fromstring(answer.chart)
    words = {text.text for text in root.iter(f"{SPACE}text")}
    assert {"1", "2", "3", "4"} <= words
    assert len(list(root.iter(f"{SPACE}polyline"))) == 2


def test_a_minute_at_sixty_frames_a_second_stays_a_short_answer() -> None:
    answer = read(clip_of(film(Body(repeats=12, seconds=4.2), Camera(fps=60.0))))
    assert len(answer.chart) < 20_000
    assert all(len(s.times_s) <= 120 for s in answer.series)
    assert all(s.times_s[-1] > 50 for s in answer.series)


def test_without_a_repetition_there_is_nothing_to_draw() -> None:
    clip = clip_of(film(Body(), Camera()))
    answer = read(msgspec.structs.replace(clip, frames=clip.frames[:15]))
    assert answer.figure == answer.chart == ""
