"""The command line says what it did, and where a fault is."""

import json
from pathlib import Path

import pytest

from service import __version__
from service.__main__ import main
from service.web.shipped import examples

NAME = next(iter(examples()))


@pytest.fixture
def screen(tmp_path: Path) -> Path:
    file = tmp_path / "screen.json"
    file.write_bytes(examples()[NAME])
    return file


def test_plan_prints_a_page(screen: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(screen)]) == 0
    assert "Verdict: " in capsys.readouterr().out


def test_plan_prints_the_raw_answer(screen: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(screen), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["made_by"]["service"] == __version__


def test_plan_prints_a_card(screen: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(screen), "--card"]) == 0
    assert capsys.readouterr().out.startswith("<!doctype html>")
    with pytest.raises(SystemExit):
        main(["plan", str(screen), "--card", "--json"])


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ('{"observations": [], "minutes": "7"}', "at /minutes: expected a whole number"),
        ("{}", "the object needs the field `observations`"),
        ("{", "is not JSON"),
        ("", "is empty"),
    ],
)
def test_plan_says_where_a_screen_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], body: str, said: str
) -> None:
    file = tmp_path / "screen.json"
    file.write_text(body)
    assert main(["plan", str(file)]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.out == ""


def test_plan_says_which_file_it_cannot_read(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "no/such/screen.json"]) == 2
    assert "no/such/screen.json" in capsys.readouterr().err


def test_check_finds_the_shipped_pack_sound(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check"]) == 0
    assert "no faults" in capsys.readouterr().out
    assert main(["check", "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["ok"] is True and report["faults"] == []


def test_the_contract_has_not_drifted() -> None:
    assert main(["contract", "--check"]) == 0


@pytest.mark.parametrize("port", ["0", "65536", "-1", "8e3", "x"])
def test_a_port_out_of_range_is_refused(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["serve", "--port", port])
    assert stopped.value.code == 2
    assert "1 to 65535" in capsys.readouterr().err


@pytest.mark.parametrize("verb", ["serve", "plan", "check", "contract"])
def test_help_shows_an_example(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main([verb, "--help"])
    assert stopped.value.code == 0
    assert f"example: movewright {verb}" in capsys.readouterr().out
