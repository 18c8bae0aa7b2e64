"""The command line reads a clip offline, by the same rules as the route."""

import io
import sys
from pathlib import Path

import msgspec
import pytest

from service.__main__ import main
from service.model.landmarks import LandmarkAnswer
from tests.landmarks.figures import Body, Camera, clip_of, film
from tests.landmarks.pack import read

CLIP = clip_of(film(Body(), Camera(view="side", noise=1.0)))


def test_a_clip_from_a_file_is_answered_raw(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "clip.json"
    file.write_bytes(msgspec.json.encode(CLIP))
    assert main(["landmarks", str(file), "--json"]) == 0
    printed = capsys.readouterr().out
    assert msgspec.json.decode(printed, type=LandmarkAnswer) == read(CLIP)


def test_a_clip_from_a_file_is_told_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "clip.json"
    file.write_bytes(msgspec.json.encode(CLIP))
    assert main(["landmarks", str(file)]) == 0
    printed = capsys.readouterr().out
    assert "Squat, from the side: 3 whole repetitions." in printed
    assert all(len(line) <= 80 for line in printed.splitlines())
    assert "put a stick along" in printed


def test_what_is_no_clip_is_refused_with_its_place(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    body = b'{"movement":"squat","view":"front","layout":"coco17","fps":0,"frames":[]}'
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(body)))
    assert main(["landmarks", "-"]) == 2
    assert "at /fps: expected a number from 1 to 240" in capsys.readouterr().err
