"""Each check has broken files of its own, and says in plain words what is wrong and where."""

from pathlib import Path

import pytest

from service.compiler.checks import CHECKS, WHOLE_PACK_CHECKS
from tests.compiler.packs import BROKEN, VALID, Edit, broken_pack, compile_small, faults_in


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_pack_is_refused_with_the_words_of_its_fault(name: str, tmp_path: Path) -> None:
    broken = BROKEN[name]
    faults = faults_in(broken_pack(tmp_path, *broken.edits), whole=broken.whole)
    lines = [str(fault) for fault in faults]
    for words in broken.words:
        assert any(words in line for line in lines), f"`{words}` not in\n" + "\n".join(lines)
    assert broken.check in {fault.check for fault in faults}
    assert {fault.check for fault in faults} <= {broken.check, *broken.also}, "\n".join(lines)


def test_every_check_has_a_broken_file() -> None:
    checks = {check.__module__.rpartition(".")[2] for check in (*CHECKS, *WHOLE_PACK_CHECKS)}
    folder = VALID.parents[2] / "service" / "compiler" / "checks"
    files = {file.stem for file in folder.glob("*.py")} - {"__init__", "strings"}
    assert files == checks | {"width"}, "a file in checks/ that nothing runs"
    assert {broken.check for broken in BROKEN.values()} == files | {"shape"}


def test_the_valid_pack_has_no_faults() -> None:
    assert faults_in(VALID) == ()


def test_faults_of_several_kinds_and_files_come_at_once_sorted_and_each_once(
    tmp_path: Path,
) -> None:
    # records that other broken files leave alone, so that no edit meets another
    names = ("twins_low", "eyes_leak", "measures_mean", "facts_idle", "holds", "shape_inside_lists")
    names += ("ladders_levels", "wording_spaces", "retired", "shape_kind_unknown")
    edits = [edit for name in names for edit in BROKEN[name].edits]
    faults = faults_in(broken_pack(tmp_path, *edits))
    lines = "\n".join(map(str, faults))
    missing = [
        (name, words)
        for name in names
        for words in BROKEN[name].words
        # an unreadable record is not judged further: its other faults wait
        if name != "eyes_leak" and words not in lines
    ]
    assert not missing, lines
    assert list(faults) == sorted(set(faults))


def test_one_unreadable_record_does_not_blame_the_records_that_name_it(tmp_path: Path) -> None:
    edit = Edit(file="causes/causes.toml", find="prior = 0.2\n", replace="prior = 2.0\n")
    faults = faults_in(broken_pack(tmp_path, edit))
    assert [(f.record, f.field, f.check) for f in faults] == [
        ("ankle_dorsiflexion.range", "prior", "shape")
    ]


def test_a_missing_folder_and_a_missing_manifest_are_faults(tmp_path: Path) -> None:
    root = broken_pack(tmp_path)
    (root / "alerts" / "alerts.toml").unlink()
    (root / "alerts").rmdir()
    (said,) = faults_in(root)
    assert "names `alerts`, and there is no folder of that name" in str(said)
    (root / "manifest.toml").unlink()
    assert any("manifest.toml: (file): is not there" in str(f) for f in faults_in(root))


def test_a_file_that_is_not_utf8_is_a_fault(tmp_path: Path) -> None:
    root = broken_pack(tmp_path)
    (root / "kit" / "more.toml").write_bytes(b"# caf\xe9\n")
    (said,) = faults_in(root)
    assert "kit/more.toml: (file): is not UTF-8 at byte 5" in str(said)


def test_a_link_against_the_muscle_table_stands_once_it_says_so(tmp_path: Path) -> None:
    edits = BROKEN["muscles_sign"].edits
    said = Edit(
        file="links/links.toml",
        find='wrong_when = "The squat is deep."',
        replace='disagrees = "It turns the knee in there."\nwrong_when = "The squat is deep."',
    )
    assert compile_small(broken_pack(tmp_path, *edits, said)).links["hip_side-knee_in"].disagrees
