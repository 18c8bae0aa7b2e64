"""The digest names the knowledge, not the files: what is served moves it, and nothing else."""

from pathlib import Path

import pytest

from tests.compiler.packs import VALID, Edit, broken_pack, compile_small


def digest(to: Path, *edits: Edit) -> str:
    return compile_small(broken_pack(to, *edits)).pack.digest


def edit(file: str, find: str, replace: str) -> Edit:
    return Edit(file=file, find=find, replace=replace)


@pytest.mark.parametrize(
    "made",
    [
        edit("kit/kit.toml", 'name = "Mat"', 'name = "A mat"'),
        edit("causes/causes.toml", "prior = 0.25", "prior = 0.2500001"),
        edit("texts/en/texts.toml", "Today: {drills}.", "Now: {drills}."),
        edit("sources/sources.toml", "Common practice, no source.", "Common practice."),
        edit("manifest.toml", 'version = "1.2.3"', 'version = "1.2.4"'),
        edit("manifest.toml", 'target_order = ["squat"]', "target_order = []"),
    ],
)
def test_a_change_of_what_is_served_changes_the_digest(made: Edit, tmp_path: Path) -> None:
    assert digest(tmp_path, made) != compile_small(VALID).pack.digest


@pytest.mark.parametrize(
    "made",
    [
        edit("kit/kit.toml", 'name = "Mat"', '# flat\nname = "Mat"'),
        edit("kit/kit.toml", 'id = "mat"\nname = "Mat"', 'name = "Mat"\nid = "mat"'),
        edit("causes/causes.toml", "prior = 0.25", "prior = 0.250"),
        edit("findings/findings.toml", 'name = "Knee drifts out"', 'name = "Knee goes out"'),
    ],
)
def test_comments_order_spelling_and_drafts_do_not_change_it(made: Edit, tmp_path: Path) -> None:
    assert digest(tmp_path, made) == compile_small(VALID).pack.digest


def test_moving_a_record_to_another_file_does_not_change_it(tmp_path: Path) -> None:
    root = broken_pack(tmp_path)
    file = root / "kit" / "kit.toml"
    mat, mark, rest = file.read_text().partition('[[kit]]\nid = "mini_band"')
    file.write_text(mat)
    (root / "kit" / "bands.toml").write_text(mark + rest)
    assert compile_small(root).pack.digest == compile_small(VALID).pack.digest


def test_it_is_sha256_in_hex() -> None:
    found = compile_small(VALID).pack.digest
    assert len(found) == 64
    assert int(found, 16) >= 0
