"""Every place where one record names another, listed once for all checks that ask.

Apart from the checks because references, retired use and the way to a cause ask the same.
"""

from collections.abc import Iterator

from msgspec import Struct

from service.compiler.draft import Kind, Records
from service.model.knowledge import (
    CauseRecord,
    ChangeRecord,
    CutoffRecord,
    DrillRecord,
    FindingRecord,
    LadderRecord,
    LinkRecord,
    MeasureRecord,
    MovementRecord,
    Record,
)


class Mention(Struct, frozen=True, kw_only=True):
    """A record names another. `kinds` are the kinds in which the name may be found.

    `loose` marks entries of a table over a closed vocabulary, which may name a draft: such an
    entry waits, and is left out when the pack is frozen.
    """

    kind: Kind
    record: str
    field: str
    kinds: tuple[Kind, ...]
    id: str
    loose: bool = False


_Named = tuple[str, tuple[Kind, ...], str]


def mentions(records: Records) -> Iterator[Mention]:
    """Yield every mention made by the given records."""
    for kind, record in records.each():
        for source in record.sources:
            yield Mention(
                kind=kind, record=record.id, field="sources", kinds=("sources",), id=source
            )
        for field, kinds, name in _strict(record):
            yield Mention(kind=kind, record=record.id, field=field, kinds=kinds, id=name)
        for field, kinds, name in _loose(record):
            yield Mention(
                kind=kind, record=record.id, field=field, kinds=kinds, id=name, loose=True
            )


def _strict(record: Record) -> Iterator[_Named]:
    if isinstance(record, MovementRecord):
        yield from _of_movement(record)
    elif isinstance(record, FindingRecord):
        for n, eye in enumerate(record.eyes):
            yield f"eyes[{n}].source", ("sources",), eye.source
        if record.opposite:
            yield "opposite", ("findings",), record.opposite
    elif isinstance(record, CauseRecord):
        for part in record.muscles:
            yield "muscles", ("muscles",), part.muscle
    elif isinstance(record, LinkRecord):
        yield "cause", ("causes",), record.cause
        yield "finding", ("findings",), record.finding
    elif isinstance(record, ChangeRecord):
        for kit in record.kit:
            yield "kit", ("kit",), kit
        for n, row in enumerate(record.persistence):
            if row.cause:
                yield f"persistence[{n}].cause", ("causes",), row.cause
    elif isinstance(record, MeasureRecord):
        yield from _of_measure(record)
    elif isinstance(record, DrillRecord):
        yield from _of_drill(record)
    elif isinstance(record, CutoffRecord):
        if record.error_source:
            yield "error_source", ("sources",), record.error_source
        for n, grade in enumerate(record.grades):
            yield f"grades[{n}].source", ("sources",), grade.source
    elif isinstance(record, LadderRecord):
        for rung in record.rungs:
            yield "rungs", ("drills",), rung


def _of_movement(record: MovementRecord) -> Iterator[_Named]:
    for n, look in enumerate(record.look_for):
        yield f"look_for[{n}].finding", ("findings",), look.finding
    if record.on_one_leg:
        yield "on_one_leg", ("movements",), record.on_one_leg
    if record.skill:
        yield "skill", ("causes",), record.skill


def _of_measure(record: MeasureRecord) -> Iterator[_Named]:
    for method in record.methods:
        at = f"methods[{method.id}]"
        yield f"{at}.source", ("sources",), method.source
        for kit in method.kit:
            yield f"{at}.kit", ("kit",), kit
    for n, reference in enumerate(record.references):
        yield f"references[{n}].source", ("sources",), reference.source
    for n, speaks in enumerate(record.speaks_for):
        yield f"speaks_for[{n}].cause", ("causes",), speaks.cause
        yield f"speaks_for[{n}].source", ("sources",), speaks.source


def _of_drill(record: DrillRecord) -> Iterator[_Named]:
    for trained in record.trains:
        yield "trains", ("causes",), trained.cause
    for alternative in record.kit:
        for kit in alternative:
            yield "kit", ("kit",), kit
    yield "dose", ("doses",), record.dose
    for muscle in record.stretches:
        yield "stretches", ("muscles",), muscle
    if record.helper:
        yield "helper", ("kit", "changes"), record.helper
    if record.pattern:
        yield "pattern", ("movements",), record.pattern
    for n, pose in enumerate(record.poses):
        yield f"poses[{n}].posture", ("postures",), pose.posture
        for placed in pose.kit:
            yield f"poses[{n}].kit", ("kit",), placed.kit


def _loose(record: Record) -> Iterator[_Named]:
    if isinstance(record, MovementRecord):
        for target in record.speaks_for:
            yield "speaks_for", ("movements",), target
    elif isinstance(record, FindingRecord):
        for target in record.weights:
            yield "weights", ("movements",), target
        for n, eye in enumerate(record.eyes):
            for movement in eye.movements:
                yield f"eyes[{n}].movements", ("movements",), movement
    elif isinstance(record, LinkRecord):
        for movement in record.strengths:
            yield "strengths", ("movements",), movement
    elif isinstance(record, ChangeRecord):
        for movement in record.movements:
            yield "movements", ("movements",), movement
        for n, row in enumerate(record.persistence):
            if row.finding:
                yield f"persistence[{n}].finding", ("findings",), row.finding
    elif isinstance(record, DrillRecord):
        for target in record.carries_to:
            yield "carries_to", ("movements",), target
