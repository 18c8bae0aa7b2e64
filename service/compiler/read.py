"""From the files of a pack to a draft: TOML in, records out, and every fault of form on the way.

Nothing is judged here but shape: what the records say of each other is the business of checks.
"""

import tomllib
from collections.abc import Mapping
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TypeVar, get_args

import msgspec
from msgspec import Struct

from service.compiler.decode import convert, faults_of, non_finite
from service.compiler.draft import MANIFEST, AnyRecord, Draft, Kind, Manifest, RecordFile, Records
from service.model.errors import PackFault
from service.model.knowledge import (
    AlertRecord,
    CauseRecord,
    CautionRecord,
    ChangeRecord,
    CutoffRecord,
    DecisionRecord,
    DoseRecord,
    DrillRecord,
    FigureRecord,
    FindingRecord,
    KitRecord,
    LadderRecord,
    LinkRecord,
    MeasureRecord,
    MovementRecord,
    MuscleRecord,
    PostureRecord,
    Record,
    RuleRecord,
    SourceRecord,
    TextRecord,
)

KINDS: tuple[Kind, ...] = get_args(Kind)
_R = TypeVar("_R", bound=Struct)
_S = TypeVar("_S", bound=Record)


class _Table(Struct, frozen=True, kw_only=True):
    """One table of a file, not yet a record. `key` is unique within its kind."""

    path: str
    key: str
    id: str
    raw: object


def read_pack(root: Traversable | Path) -> tuple[Draft, tuple[PackFault, ...]]:
    """Return the draft of a pack and every fault of form; what has none is in the draft."""
    return _Reader(root).read_whole()


def read_parts(root: Traversable | Path, manifest: Manifest) -> tuple[Draft, tuple[PackFault, ...]]:
    """Return the records of a folder that is no pack by itself, under a manifest made for it."""
    return _Reader(root).read(manifest)


def read_manifest(
    root: Traversable | Path, wanted: type[_R]
) -> tuple[_R | None, tuple[PackFault, ...]]:
    """Return the manifest of a folder as the wanted struct, or None and every fault in it."""
    reader = _Reader(root)
    return reader.manifest(wanted), reader.faults()


class _Reader:
    """Reads one pack once, and gathers faults as it goes."""

    def __init__(self, root: Traversable | Path) -> None:
        self._root = root
        self._faults: list[PackFault] = []
        self._tables: dict[Kind, list[_Table]] = {kind: [] for kind in KINDS}
        self._files: list[RecordFile] = []
        self._place: dict[tuple[Kind, str], str] = {}
        self._unreadable: set[tuple[Kind, str]] = set()

    def read_whole(self) -> tuple[Draft, tuple[PackFault, ...]]:
        return self.read(self._read_manifest())

    def faults(self) -> tuple[PackFault, ...]:
        return tuple(self._faults)

    def manifest(self, wanted: type[_R]) -> _R | None:
        raw = self._toml(self._root.joinpath(MANIFEST), MANIFEST)
        wrong = [] if raw is None else list(faults_of(raw, wanted))
        for field, what in wrong:
            self._say(MANIFEST, field=field, wrong=what, do="correct it")
        return None if raw is None or wrong else convert(raw, wanted)

    def read(self, manifest: Manifest) -> tuple[Draft, tuple[PackFault, ...]]:
        for entry in sorted(self._root.iterdir(), key=lambda e: e.name):
            if entry.name == MANIFEST or entry.name.startswith((".", "_")):
                continue
            if entry.is_dir():
                self._read_folder(entry, manifest)
            elif entry.name.endswith(".toml"):
                self._say(entry.name, wrong="lies outside any folder of a kind", do="move it")
        every = self._decode()
        draft = Draft(
            manifest=manifest,
            every=every,
            live=live_of(every),
            files=tuple(self._files),
            place=self._place,
            unreadable=frozenset(self._unreadable),
        )
        return draft, tuple(self._faults)

    def _say(self, path: str, record: str = "", field: str = "", *, wrong: str, do: str) -> None:
        self._faults.append(
            PackFault(file=path, record=record, field=field, check="shape", wrong=wrong, do=do)
        )

    def _read_manifest(self) -> Manifest:
        manifest = self.manifest(Manifest)
        if manifest is None:
            return Manifest(name="?", version="0.0.0", kinds=KINDS)
        folders = {e.name for e in self._root.iterdir() if e.is_dir()}
        for kind in manifest.kinds:
            if kind not in folders:
                self._say(
                    MANIFEST,
                    field="kinds",
                    wrong=f"names `{kind}`, and there is no folder of that name",
                    do="add the folder or take the kind out",
                )
        return manifest

    def _read_folder(self, folder: Traversable | Path, manifest: Manifest) -> None:
        if folder.name not in KINDS:
            self._say(
                f"{folder.name}/", wrong="is no kind of record", do=f"use one of {', '.join(KINDS)}"
            )
            return
        kind: Kind = folder.name
        if kind not in manifest.kinds:
            self._say(MANIFEST, field="kinds", wrong=f"does not name `{kind}`", do="add it")
        if kind != "texts":
            self._read_files(folder, kind, folder.name, "")
            return
        for language in sorted(folder.iterdir(), key=lambda e: e.name):
            if language.is_dir():
                self._read_files(language, kind, f"texts/{language.name}", f"{language.name}/")
            elif not language.name.startswith((".", "_")):
                self._say(
                    f"texts/{language.name}", wrong="has no language", do="move it to texts/en/"
                )

    def _read_files(self, folder: Traversable | Path, kind: Kind, at: str, prefix: str) -> None:
        for entry in sorted(folder.iterdir(), key=lambda e: e.name):
            if entry.name.startswith((".", "_")):
                continue
            path = f"{at}/{entry.name}"
            if not entry.name.endswith(".toml"):
                self._say(path, wrong="is not a .toml file", do="rename it or move it out")
                continue
            raw = self._toml(entry, path)
            if raw is not None:
                self._read_file(raw, kind, path, prefix)

    def _read_file(self, raw: Mapping[str, object], kind: Kind, path: str, prefix: str) -> None:
        for name in raw:
            if name != kind:
                self._say(
                    path, field=name, wrong=f"`{name}` does not belong here", do=f"write [[{kind}]]"
                )
        tables = raw.get(kind, [])
        if not isinstance(tables, list):
            self._say(path, field=kind, wrong="is one table, not an array", do=f"write [[{kind}]]")
            return
        ids: list[str] = []
        for n, table in enumerate(tables):
            found = table.get("id") if isinstance(table, dict) else None
            name = found if isinstance(found, str) else f"#{n + 1}"
            key = f"{prefix}{name}"
            ids.append(name)
            if (kind, key) in self._place:
                first = self._place[kind, key]
                self._say(
                    path, name, "id", wrong=f"this id already stands in {first}", do="rename one"
                )
                continue
            self._place[kind, key] = path
            self._tables[kind].append(_Table(path=path, key=key, id=name, raw=table))
        self._files.append(RecordFile(path=path, kind=kind, ids=tuple(ids)))

    def _toml(self, file: Traversable | Path, path: str) -> Mapping[str, object] | None:
        try:
            return tomllib.loads(file.read_bytes().decode())
        except FileNotFoundError:
            self._say(path, wrong="is not there", do="add it")
        except UnicodeDecodeError as error:
            self._say(path, wrong=f"is not UTF-8 at byte {error.start}", do="save it as UTF-8")
        except tomllib.TOMLDecodeError as error:
            self._say(path, wrong=f"is not TOML: {error}", do="correct the syntax")
        return None

    def _decode(self) -> Records:
        return Records(
            alerts=self._of("alerts", AlertRecord),
            causes=self._of("causes", CauseRecord),
            cautions=self._of("cautions", CautionRecord),
            changes=self._of("changes", ChangeRecord),
            cutoffs=self._of("cutoffs", CutoffRecord),
            decision=self._of("decision", DecisionRecord),
            doses=self._of("doses", DoseRecord),
            drills=self._of("drills", DrillRecord),
            figure=self._of("figure", FigureRecord),
            findings=self._of("findings", FindingRecord),
            kit=self._of("kit", KitRecord),
            ladders=self._of("ladders", LadderRecord),
            links=self._of("links", LinkRecord),
            measures=self._of("measures", MeasureRecord),
            movements=self._of("movements", MovementRecord),
            muscles=self._of("muscles", MuscleRecord),
            postures=self._of("postures", PostureRecord),
            rules=self._of("rules", RuleRecord),
            sources=self._of("sources", SourceRecord),
            texts=self._of("texts", TextRecord),
        )

    def _of(self, kind: Kind, wanted: type[_R]) -> dict[str, _R]:
        """Return the records of a kind in id order; a table with faults is left out."""
        found: dict[str, _R] = {}
        for table in sorted(self._tables[kind], key=lambda t: t.key):
            wrong = list(non_finite(table.raw))
            try:
                record = convert(table.raw, wanted)
            except msgspec.ValidationError as error:
                wrong = sorted({*wrong, *faults_of(table.raw, wanted)}) or [("", str(error))]
            if not wrong:
                found[table.key] = record
                continue
            self._unreadable.add((kind, table.key))
            for field, what in wrong:
                self._say(table.path, table.id, field, wrong=what, do="correct it")
        return found


def live_of(every: Records) -> Records:
    """Return the live records alone; sources and texts have no status and stay."""
    parts: dict[str, Mapping[str, AnyRecord]] = {
        kind: {
            key: record
            for key, record in every.of(kind).items()
            if not isinstance(record, Record) or record.status == "live"
        }
        for kind in KINDS
    }
    return msgspec.structs.replace(every, **parts)
