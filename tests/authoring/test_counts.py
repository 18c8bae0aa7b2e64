"""The figures of a pack are counted from its records, and what they rest on adds up."""

import json
from pathlib import Path

import pytest

from service.__main__ import main
from service.authoring.counts import counts_of
from service.compiler.compile import read_draft
from service.model.graph import Graph
from tests.compiler.packs import VALID


def test_kinds_are_counted_by_status(graph: Graph) -> None:
    counts = counts_of(read_draft()[0])
    live = {kind.kind: kind.live for kind in counts.kinds}
    for kind in ("alerts", "causes", "drills", "findings", "links", "sources"):
        assert live[kind] == len(getattr(graph, kind))
    assert sum(counts.drills_by_aim.values()) == live["drills"]


def test_numbers_rest_on_the_least_favourable_source_that_a_record_names() -> None:
    counts = counts_of(read_draft(VALID)[0])
    found = {one.basis: one.numbers for one in counts.numbers}
    assert found["estimate"] > 0
    assert found["practice"] > 0
    assert sum(one.share for one in counts.numbers) == pytest.approx(1, abs=1e-3)
    assert counts.muscle_table_numbers == 8


def test_links_that_stand_against_the_muscle_table_are_listed(graph: Graph) -> None:
    counts = counts_of(read_draft()[0])
    listed = [one.link for one in counts.disagreements]
    assert listed == [link.id for link in graph.links.values() if link.disagrees]
    assert "hip_abductors.control-knee_in" in listed


def test_the_verb_prints_them(capsys: pytest.CaptureFixture[str], graph: Graph) -> None:
    assert main(["check", "--counts"]) == 0
    said = capsys.readouterr().out
    assert f"drills     {len(graph.drills):>5}" in said
    assert "Compiled in " in said
    assert main(["check", "--counts", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["disagreements"]


def test_a_pack_in_a_folder_is_checked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "manifest.toml").write_text('name = "x"\n')
    assert main(["check", str(tmp_path)]) == 2
    assert "manifest.toml: (file), `version`: is missing" in capsys.readouterr().out


def test_a_broken_overlay_stops_check_plan_and_serve(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    overlay = tmp_path / "hall"
    overlay.mkdir()
    (overlay / "manifest.toml").write_text(
        'name = "hall"\nversion = "1.0.0"\nswitch_off = ["calf_swelling"]\n'
    )
    said = "hall/manifest.toml: (file), `switch_off[0]`: `calf_swelling` is one of the alerts"
    screen = tmp_path / "screen.json"
    screen.write_text('{"observations": []}')
    for verb in (["check"], ["plan", str(screen)], ["serve", "--port", "1"]):
        assert main([*verb, "--overlay", str(overlay)]) == 2
        told = capsys.readouterr()
        assert said in told.out + told.err, verb
