"""Landmarks find every measure and every number that they read, and cut-offs that can be meant.

Only a whole pack must have them all.
"""

from collections.abc import Iterator
from typing import get_args

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import ClipNumber, CutoffRecord
from service.model.quantities import LandmarkMeasureId

CHECK = "cutoffs"
CLIP = "clip"
"""The record that holds the numbers of reading a clip."""


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each measure or number that is missing, and each row that is none."""
    if draft.lacks("cutoffs"):
        return
    for name in sorted({CLIP, *get_args(LandmarkMeasureId)} - set(draft.live.cutoffs)):
        yield draft.fault(
            "cutoffs",
            "",
            "id",
            check=CHECK,
            wrong=f"there is no live record `{name}`",
            do="write one",
        )
    for record in draft.live.cutoffs.values():
        for field, wrong, do in _faults(record):
            yield draft.fault("cutoffs", record.id, field, check=CHECK, wrong=wrong, do=do)


def _faults(record: CutoffRecord) -> Iterator[tuple[str, str, str]]:
    wanted = set(get_args(ClipNumber)) if record.id == CLIP else set()
    for name in sorted(wanted ^ set(record.numbers)):
        wrong = "is missing" if name in wanted else "is read by nothing here"
        yield f"numbers.{name}", wrong, "every number of reading a clip stands in `clip`, once"
    if record.measure is not None and record.id != record.measure:
        yield "id", f"differs from the measure `{record.measure}`", "name it after its measure"
    if record.measure is not None and not (
        record.views and record.layouts and record.instead and record.error_source
    ):
        wrong = "has no views, layouts, error_source or instead"
        yield "measure", wrong, "say where it is seen, how well, and what to do where it is not"
    for n, row in enumerate(record.grades):
        if row.mild == row.marked:
            yield f"grades[{n}].marked", "is the same as `mild`", "move it beyond, the worse way"
        if not set(row.views) <= set(record.views):
            yield f"grades[{n}].views", "go beyond those of the measure", "take them out"
        if row.source not in record.sources:
            yield f"grades[{n}].source", "is not among the sources", "add it to `sources`"
        if row.source == "estimate" and not row.why:
            yield f"grades[{n}].why", "is empty for an `estimate`", "say why"
