"""A judgement of ours is argued: `estimate` never stands without its reasoning."""

from collections.abc import Iterator

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import FindingRecord, MeasureRecord, Record

CHECK = "sources"
ESTIMATE = "estimate"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each `estimate` without words, and for incomplete publications."""
    for kind, record in draft.every.each():
        if ESTIMATE in record.sources and not record.reasoning.strip():
            yield draft.fault(
                kind,
                record.id,
                "reasoning",
                check=CHECK,
                wrong="is empty although `estimate` is among the sources",
                do="say which numbers are estimates and why they are what they are",
            )
        for field, why in _numbers(record):
            if not why.strip():
                yield draft.fault(
                    kind,
                    record.id,
                    field,
                    check=CHECK,
                    wrong="rests on `estimate` and gives no reason",
                    do="add `why` beside the number (a method: `reasoning` of the record)",
                )
        if len(set(record.sources)) < len(record.sources):
            yield draft.fault(
                kind, record.id, "sources", check=CHECK, wrong="names one twice", do="take it out"
            )
    for source in draft.every.sources.values():
        if source.kind in ("publication", "guideline") and source.year is None:
            yield draft.fault(
                "sources",
                source.id,
                "year",
                check=CHECK,
                wrong=f"is missing from a {source.kind}",
                do="add the year of publication",
            )


def _numbers(record: Record) -> Iterator[tuple[str, str]]:
    """Yield (field, reason given) for each number inside a record that rests on `estimate`."""
    if isinstance(record, FindingRecord):
        for n, eye in enumerate(record.eyes):
            if eye.source == ESTIMATE:
                yield f"eyes[{n}].why", eye.why
    elif isinstance(record, MeasureRecord):
        for method in record.methods:
            if method.source == ESTIMATE:
                yield f"methods[{method.id}].source", record.reasoning
        for n, reference in enumerate(record.references):
            if reference.source == ESTIMATE:
                yield f"references[{n}].why", reference.why
        for n, speaks in enumerate(record.speaks_for):
            if speaks.source == ESTIMATE:
                yield f"speaks_for[{n}].why", speaks.why
