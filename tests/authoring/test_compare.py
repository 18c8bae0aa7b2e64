"""Two packs are told apart record by record, and a changed answer is traced to its record."""

import json
from pathlib import Path
from shutil import copytree

import msgspec
import pytest

from service.__main__ import main
from service.authoring.comparison import Comparison, compare
from service.compiler.compile import read_draft
from service.compiler.difference import record_changes
from service.compiler.draft import Draft
from service.engine.plan import plan
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.shipped import examples

KNOWLEDGE = Path(__file__).parents[2] / "knowledge"
SCREENS = {
    name: msgspec.json.decode(raw, type=Screen)
    for name, raw in examples().items()
    if name in ("left_knee_nothing_helps", "calf_swelling")
}


def changed_pack(to: Path, *edits: tuple[str, str, str, str]) -> Path:
    """Return a copy of the shipped pack; each edit names kind, id, old and new text in it."""
    copytree(KNOWLEDGE, to)
    for kind, record, old, new in edits:
        (file,) = (
            path
            for path in sorted((to / kind).rglob("*.toml"))
            if f'\nid = "{record}"\n' in path.read_text()
        )
        text = file.read_text()
        start = text.index(f'\nid = "{record}"\n')
        end = text.find("\n[[", start)
        inside = text[start:] if end < 0 else text[start:end]
        assert inside.count(old) == 1, (record, old, inside.count(old))
        file.write_text(text.replace(inside, inside.replace(old, new)))
    return to


def draft_of(root: Path | None = None) -> Draft:
    draft, shape = read_draft(root)
    assert not shape
    return draft


@pytest.fixture
def first_drill(graph: Graph) -> str:
    session = plan(SCREENS["left_knee_nothing_helps"], graph).session
    assert session
    return session.steps[0].drill


@pytest.fixture
def found(tmp_path: Path, first_drill: str, graph: Graph) -> Comparison:
    effects = graph.drills[first_drill].trains
    edits = [
        ("drills", first_drill, f"effect = {one.effect} }}", "effect = 0.021 }")
        for one in effects[:1]
    ]
    other = ("alerts", "fainting", 'name = "', 'name = "Once more: ')
    return compare(draft_of(), draft_of(changed_pack(tmp_path / "new", *edits, other)), SCREENS)


def test_a_pack_does_not_differ_from_itself() -> None:
    found = compare(draft_of(), draft_of(KNOWLEDGE), SCREENS)
    assert found.records == found.answers == found.untried == ()
    assert found.old == found.new


def test_each_changed_field_stands_with_its_old_and_new_value(
    found: Comparison, first_drill: str, graph: Graph
) -> None:
    told = [
        (record.kind, record.record, record.change, field.field, field.old, field.new)
        for record in found.records
        for field in record.fields
    ]
    trained = graph.drills[first_drill].trains[0]
    name = graph.alerts["fainting"].name
    assert told == [
        ("alerts", "fainting", "changed", "name", name, f"Once more: {name}"),
        (
            "drills",
            first_drill,
            "changed",
            f"trains[{trained.cause}].effect",
            trained.effect,
            0.021,
        ),
    ]


def test_a_changed_answer_is_traced_to_the_record_that_brings_the_old_one_back(
    found: Comparison, first_drill: str
) -> None:
    (screen,) = found.answers
    assert screen.screen == "left_knee_nothing_helps"
    assert "value" in {part.what for part in screen.answer}
    assert [(due.kind, due.record, due.does) for due in screen.due] == [
        ("drills", first_drill, "whole")
    ]
    assert found.screens == 2


def test_an_alert_that_is_gone_shows_in_the_answer_it_gave(tmp_path: Path) -> None:
    never = ("alerts", "calf_swelling", "[{ alert", "[{ age_from = 90 }, { alert")
    found = compare(draft_of(), draft_of(changed_pack(tmp_path / "new", never)), SCREENS)
    (screen,) = found.answers
    told = {part.what: (part.old, part.new) for part in screen.answer}
    assert told["verdict"][0] == "refer"
    assert told["referrals"] == ("calf_swelling (same_day)", "")
    assert [(due.record, due.does) for due in screen.due] == [("calf_swelling", "whole")]


def test_records_added_and_removed_are_named_whole(tmp_path: Path, graph: Graph) -> None:
    new = changed_pack(tmp_path / "new", ("kit", "tape", 'id = "tape"', 'id = "long_tape"'))
    changes = record_changes(draft_of(), draft_of(new))
    told = {(c.kind, c.record): c.change for c in changes}
    assert told == {("kit", "long_tape"): "added", ("kit", "tape"): "removed"}
    (added,) = (c for c in changes if c.change == "added")
    assert {f.field: f.new for f in added.fields}["name"] == graph.kit["tape"].name
    assert {f.old for f in added.fields} == {None}


def test_the_verb_prints_text_and_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    new = changed_pack(tmp_path / "new", ("alerts", "fainting", 'name = "', 'name = "Once more: '))
    screens = tmp_path / "screens"
    screens.mkdir()
    (screens / "calf.json").write_bytes(examples()["calf_swelling"])
    arguments = ["compare", str(KNOWLEDGE), str(new), "--screens", str(screens)]
    assert main(arguments) == 0
    said = capsys.readouterr().out
    assert "- alerts/fainting: changed" in said
    assert "Screens answered differently: 0 of 1." in said
    assert main([*arguments, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["records"][0]["record"] == "fainting"


def test_an_older_pack_is_compared_although_newer_checks_find_fault_with_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    worded = ("alerts", "fainting", 'name = "', 'name = "Prevents it: ')
    old = changed_pack(tmp_path / "old", worded)
    found = compare(draft_of(old), draft_of(), SCREENS)
    assert [(fault.record, fault.check) for fault in found.old_faults] == [("fainting", "wording")]
    assert found.answers == ()
    assert main(["compare", str(old), str(KNOWLEDGE)]) == 0
    assert "Today's checks find 1 faults in the old pack" in capsys.readouterr().out
    assert main(["compare", str(KNOWLEDGE), str(old)]) == 2
    assert "says `Prevents`" in capsys.readouterr().err


def test_a_list_of_words_is_one_value(tmp_path: Path, graph: Graph) -> None:
    sources = graph.alerts["fainting"].sources
    assert len(sources) > 1
    (dropped,) = (f'"{sources[0]}", ',)
    new = changed_pack(tmp_path / "new", ("alerts", "fainting", dropped, ""))
    (change,) = record_changes(draft_of(), draft_of(new))
    (field,) = change.fields
    assert (field.field, field.old) == ("sources", ", ".join(sources))
    assert field.new == ", ".join(sources[1:])
