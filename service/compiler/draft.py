"""The pack as read, before anything is checked: every record by kind, and where each stands.

Apart from reading because every check starts here and none of them needs to know TOML.
"""

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from msgspec import Meta, Struct

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
    Slug,
    SourceRecord,
    TextRecord,
)
from service.model.quantities import TargetId, Text

Kind = Literal[
    "alerts",
    "causes",
    "cautions",
    "changes",
    "cutoffs",
    "decision",
    "doses",
    "drills",
    "figure",
    "findings",
    "kit",
    "ladders",
    "links",
    "measures",
    "movements",
    "muscles",
    "postures",
    "rules",
    "sources",
    "texts",
]
AnyRecord = Record | SourceRecord | TextRecord
MANIFEST = "manifest.toml"


class Manifest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a pack says of itself, in `manifest.toml` beside the folders."""

    name: Text
    version: Annotated[str, Meta(pattern=r"^\d+\.\d+\.\d+$(?!\n)")]
    kinds: tuple[Kind, ...]
    """The folders it holds."""
    target_order: tuple[TargetId, ...] = ()
    """Targets that are tried first where a screen names none; the others follow by id."""
    stand_alone: tuple[Slug, ...] = ()
    """Drills that have no easier and no harder neighbour, and so are on no ladder."""
    kept_texts: tuple[Slug, ...] = ()
    """Texts that no overlay may rename, because they carry a caution or an alert."""


class RecordFile(Struct, frozen=True, kw_only=True):
    """One file: its path within the pack, its kind, and its ids in the order written."""

    path: str
    kind: Kind
    ids: tuple[str, ...]


class Records(Struct, frozen=True, kw_only=True):
    """Records of every kind by id. Texts are keyed `language/code`."""

    alerts: Mapping[str, AlertRecord]
    causes: Mapping[str, CauseRecord]
    cautions: Mapping[str, CautionRecord]
    changes: Mapping[str, ChangeRecord]
    cutoffs: Mapping[str, CutoffRecord]
    decision: Mapping[str, DecisionRecord]
    doses: Mapping[str, DoseRecord]
    drills: Mapping[str, DrillRecord]
    figure: Mapping[str, FigureRecord]
    findings: Mapping[str, FindingRecord]
    kit: Mapping[str, KitRecord]
    ladders: Mapping[str, LadderRecord]
    links: Mapping[str, LinkRecord]
    measures: Mapping[str, MeasureRecord]
    movements: Mapping[str, MovementRecord]
    muscles: Mapping[str, MuscleRecord]
    postures: Mapping[str, PostureRecord]
    rules: Mapping[str, RuleRecord]
    sources: Mapping[str, SourceRecord]
    texts: Mapping[str, TextRecord]

    def of(self, kind: Kind) -> Mapping[str, AnyRecord]:
        """Return the records of one kind."""
        found: Mapping[str, AnyRecord] = getattr(self, kind)
        return found

    def each(self) -> Iterator[tuple[Kind, Record]]:
        """Yield every record that carries a status, with its kind."""
        for kind in self.__struct_fields__:
            for record in getattr(self, kind).values():
                if isinstance(record, Record):
                    yield kind, record  # type: ignore[misc]


class Draft(Struct, frozen=True, kw_only=True):
    """All that was read. `live` holds the records that would be served, `every` all of them.

    `unreadable` are (kind, id) of records with a fault of their own, so that no second fault is
    made of their absence.
    """

    manifest: Manifest
    every: Records
    live: Records
    files: tuple[RecordFile, ...]
    place: Mapping[tuple[Kind, str], str]
    unreadable: frozenset[tuple[Kind, str]]

    def lacks(self, *kinds: Kind) -> bool:
        """Say if any record of these kinds could not be read."""
        return any(kind in kinds for kind, _ in self.unreadable)

    def fault(
        self, kind: Kind, record: str, field: str, *, check: str, wrong: str, do: str
    ) -> PackFault:
        """Return a fault of one record, placed in its file."""
        where = self.place.get((kind, record), f"{kind}/")
        return PackFault(file=where, record=record, field=field, check=check, wrong=wrong, do=do)
