"""How much a pack holds and what its numbers rest on: the figures to publish with a version.

Apart from the checks because nothing here is a fault.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Literal

from msgspec import Struct, structs

from service.compiler.difference import Scalar, flat
from service.compiler.draft import Draft
from service.compiler.read import KINDS
from service.model.knowledge import (
    CutoffRecord,
    DrillRecord,
    FindingRecord,
    MeasureRecord,
    Record,
    SourceRecord,
)

Basis = Literal["estimate", "model", "practice", "published"]
_BASIS: Mapping[str, Basis] = {
    "estimate": "estimate",
    "guideline": "published",
    "model": "model",
    "practice": "practice",
    "publication": "published",
}


APART = ("figure", "muscles", "postures")
"""Kinds whose numbers are counted by themselves or only draw."""


class KindCount(Struct, frozen=True, kw_only=True):
    """Records of one kind by status; those without a status are live."""

    kind: str
    live: int
    draft: int
    retired: int


class BasisCount(Struct, frozen=True, kw_only=True):
    """Numbers of live records by what they rest on, and as a part of all of them."""

    basis: Basis
    numbers: int
    share: float


class Disagreement(Struct, frozen=True, kw_only=True):
    """A live link that follows trade practice against the muscle table, with its own words."""

    link: str
    posture: str
    says: str


class Counts(Struct, frozen=True, kw_only=True):
    """The figures of one pack. `numbers` leaves the muscle table out, which is one source."""

    kinds: tuple[KindCount, ...]
    ladders_of_three: int
    drills_by_aim: dict[str, int]
    numbers: tuple[BasisCount, ...]
    muscle_table_numbers: int
    disagreements: tuple[Disagreement, ...]
    without_picture: tuple[str, ...]
    """Live drills that no pose shows."""


def counts_of(draft: Draft) -> Counts:
    """Return the figures of a pack that has no faults.

    A number with a source of its own counts by that one. Any other counts as an estimate where
    its record names `estimate` at all, which is the least favourable reading.
    """
    found: Counter[Basis] = Counter()
    for kind, record in draft.live.each():
        if kind not in APART:
            found.update(_bases(_decides(record), draft.live.sources))
    total = sum(found.values()) or 1
    return Counts(
        kinds=tuple(_kind(draft, kind) for kind in KINDS),
        ladders_of_three=sum(len(one.rungs) >= 3 for one in draft.live.ladders.values()),
        drills_by_aim=dict(sorted(Counter(_aims(draft)).items())),
        numbers=tuple(
            BasisCount(basis=basis, numbers=n, share=round(n / total, 4))
            for basis, n in sorted(found.items())
        ),
        muscle_table_numbers=sum(2 * len(one.actions) for one in draft.live.muscles.values()),
        disagreements=tuple(
            Disagreement(link=link.id, posture=link.posture, says=link.disagrees)
            for link in draft.live.links.values()
            if link.disagrees
        ),
        without_picture=tuple(d.id for d in draft.live.drills.values() if not d.poses),
    )


def _decides(record: Record) -> Record:
    """Return the record without the angles of its pictures, which decide nothing."""
    return structs.replace(record, poses=()) if isinstance(record, DrillRecord) else record


def _kind(draft: Draft, kind: str) -> KindCount:
    (known,) = (one for one in KINDS if one == kind)
    statuses = Counter(
        record.status if isinstance(record, Record) else "live"
        for record in draft.every.of(known).values()
    )
    return KindCount(
        kind=kind, live=statuses["live"], draft=statuses["draft"], retired=statuses["retired"]
    )


def _aims(draft: Draft) -> Iterator[str]:
    return (drill.aim for drill in draft.live.drills.values() if isinstance(drill, DrillRecord))


def _bases(record: Record, sources: Mapping[str, SourceRecord]) -> Iterator[Basis]:
    """Yield the basis of every number of a record."""
    parts = _with_own_source(record)
    for source, part in parts:
        kind = _BASIS[sources[source].kind]
        yield from (kind for _ in _numbers(part))
    inside = sum(len(list(_numbers(part))) for _, part in parts)
    whole = _of_record(record, sources)
    yield from (whole for _ in range(len(list(_numbers(record))) - inside))


def _of_record(record: Record, sources: Mapping[str, SourceRecord]) -> Basis:
    kinds = {_BASIS[sources[name].kind] for name in record.sources}
    order: tuple[Basis, ...] = ("estimate", "practice", "model", "published")
    return next(basis for basis in order if basis in kinds)


def _with_own_source(record: Record) -> list[tuple[str, Struct]]:
    if isinstance(record, FindingRecord):
        return [(eye.source, eye) for eye in record.eyes]
    if isinstance(record, MeasureRecord):
        return [
            (part.source, part)
            for parts in (record.methods, record.references, record.speaks_for)
            for part in parts
        ]
    if isinstance(record, CutoffRecord):
        return [(row.source, row) for row in record.grades]
    return []


def _numbers(record: Struct) -> Iterator[Scalar]:
    return (
        value
        for value in flat(record).values()
        if isinstance(value, int | float) and not isinstance(value, bool)
    )
