"""The small valid pack, and broken copies of it made by the edits of a file in broken/."""

from pathlib import Path
from shutil import copytree

import msgspec
from msgspec import Struct

from service.compiler import compile_pack
from service.model.errors import PackError, PackFault
from service.model.graph import Graph

HERE = Path(__file__).parent
VALID = HERE / "valid"


class Edit(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Replaces text that stands exactly once in a file; an empty `find` makes a new file."""

    file: str
    find: str
    replace: str


class Broken(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One way to break the pack. Every fault is of `check` or, unavoidably, of `also`."""

    check: str
    words: tuple[str, ...]
    edits: tuple[Edit, ...]
    also: tuple[str, ...] = ()
    whole: bool = False


BROKEN = {
    path.stem: msgspec.toml.decode(path.read_bytes(), type=Broken)
    for path in sorted((HERE / "broken").glob("*.toml"))
}


def broken_pack(to: Path, *edits: Edit) -> Path:
    """Return a copy of the valid pack with the edits made."""
    copytree(VALID, to, dirs_exist_ok=True)
    for edit in edits:
        file = to / edit.file
        if not edit.find:
            assert not file.exists(), f"{edit.file} exists already"
            file.parent.mkdir(exist_ok=True)
            file.write_text(edit.replace)
            continue
        text = file.read_text()
        assert text.count(edit.find) == 1, f"{edit.find!r} stands {text.count(edit.find)} times"
        file.write_text(text.replace(edit.find, edit.replace))
    return to


def compile_small(root: Path) -> Graph:
    return compile_pack(root, whole_vocabulary=False)


def faults_in(root: Path, *, whole: bool = False) -> tuple[PackFault, ...]:
    try:
        compile_pack(root, whole_vocabulary=whole)
    except PackError as error:
        return error.faults
    return ()
