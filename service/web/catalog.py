"""Everything the pack knows, as documents: written once at the start, whole and by record."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType

import msgspec
from msgspec import Struct

from service import __version__
from service.engine.plan import CONTRACT
from service.model.graph import Graph, Pack
from service.model.knowledge import (
    AlertRecord,
    CauseRecord,
    CautionRecord,
    ChangeRecord,
    CutoffRecord,
    DoseRecord,
    DrillRecord,
    FindingRecord,
    KitRecord,
    LadderRecord,
    LinkRecord,
    MeasureRecord,
    MovementRecord,
    MuscleRecord,
    PostureRecord,
    RuleRecord,
    SourceRecord,
)
from service.web.documents import Document, document


class CatalogText(Struct, frozen=True, kw_only=True):
    """A template of the answers, by language."""

    id: str
    text: dict[str, str]


class CatalogKind(Struct, frozen=True, kw_only=True):
    """One kind of record: its name in paths, how many are live, and where they are."""

    kind: str
    count: int
    href: str


RECORDS: Mapping[str, type[Struct]] = MappingProxyType(
    {
        "alerts": AlertRecord,
        "causes": CauseRecord,
        "cautions": CautionRecord,
        "changes": ChangeRecord,
        "cutoffs": CutoffRecord,
        "doses": DoseRecord,
        "drills": DrillRecord,
        "findings": FindingRecord,
        "kit": KitRecord,
        "ladders": LadderRecord,
        "links": LinkRecord,
        "measures": MeasureRecord,
        "movements": MovementRecord,
        "muscles": MuscleRecord,
        "postures": PostureRecord,
        "rules": RuleRecord,
        "sources": SourceRecord,
        "texts": CatalogText,
    }
)
"""Kind in paths -> struct of its records, in alphabetical order."""


class Catalog(Struct, frozen=True, kw_only=True):
    """Documents of the overview, of each kind, and of each record by kind and id."""

    overview: Document
    kinds: Mapping[str, Document]
    records: Mapping[str, Mapping[str, Document]]
    counted: tuple[CatalogKind, ...]
    structs: Mapping[str, Mapping[str, Struct]]
    """The records themselves, for pages."""


def catalog_of(graph: Graph) -> Catalog:
    """The catalogue of a pack. Every document is `{"items": [...], "pack": {...}}`."""
    found = {kind: _records(graph, kind) for kind in RECORDS}
    overview = tuple(
        CatalogKind(kind=kind, count=len(records), href=f"/v1/catalog/{kind}")
        for kind, records in found.items()
    )
    return Catalog(
        overview=_document(overview, graph.pack),
        kinds={kind: _document(found[kind].values(), graph.pack) for kind in found},
        records={
            kind: {id: _document((record,), graph.pack) for id, record in found[kind].items()}
            for kind in found
        },
        counted=overview,
        structs=found,
    )


def _records(graph: Graph, kind: str) -> Mapping[str, Struct]:
    """The live records of a kind by id, in id order."""
    if kind != "texts":
        by_id: Mapping[str, Struct] = getattr(graph, kind)
        return by_id
    languages = sorted(graph.texts)
    codes = sorted({code for language in languages for code in graph.texts[language]})
    return {
        code: CatalogText(
            id=code,
            text={name: graph.texts[name][code] for name in languages if code in graph.texts[name]},
        )
        for code in codes
    }


def _document(items: Iterable[Struct], pack: Pack) -> Document:
    body = msgspec.json.encode({"items": tuple(items), "pack": pack})
    return document(body, f"{pack.digest} {__version__} {CONTRACT}")
