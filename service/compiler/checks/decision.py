"""The numbers of the decision: one record, rows that sum to one, a concave returns curve."""

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import get_args

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import DecisionRecord
from service.model.quantities import Mode

CHECK = "decision"
POSITIVE = frozenset(("mild", "marked"))
RESULTS = ("gone", "better", "same")


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each number of the decision that does not fit the others."""
    count = len(draft.live.decision)
    if count != 1 and not draft.lacks("decision"):
        yield draft.fault(
            "decision",
            "",
            "",
            check=CHECK,
            wrong=f"the pack has {count} live decision records",
            do="keep exactly one",
        )
    for record in draft.every.decision.values():
        for field, wrong, do in (*_rows(record), *_curve(record), *_limits(record)):
            yield draft.fault("decision", record.id, field, check=CHECK, wrong=wrong, do=do)


def _rows(record: DecisionRecord) -> Iterator[tuple[str, str, str]]:
    for name in RESULTS:
        row: dict[str, float] = getattr(record.confusion, name)
        missing = [result for result in RESULTS if result not in row]
        if missing:
            yield f"confusion.{name}", f"lacks `{missing[0]}`", "give all three"
        elif not math.isclose(sum(row.values()), 1, abs_tol=1e-9):
            yield f"confusion.{name}", f"sums to {sum(row.values()):.6f}", "make it sum to 1"
    for field in ("grade_leak", "grade_weight"):
        if set(getattr(record, field)) != POSITIVE:
            yield field, "does not name `mild` and `marked` alone", "give a number for each"
    leak = record.grade_leak
    if any(factor <= 0 for factor in leak.values()):
        yield "grade_leak", "holds a factor of 0 or less", "factors on odds are positive"
    elif leak.get("mild", 0.0) < leak.get("marked", 0.0):
        yield "grade_leak", "trusts a mild sighting more than a marked one", "mild is the larger"
    if record.grade_weight.get("mild", 0.0) > record.grade_weight.get("marked", 1.0):
        yield "grade_weight", "weighs a mild sighting more than a marked one", "swap them"


def _curve(record: DecisionRecord) -> Iterator[tuple[str, str, str]]:
    points = record.returns
    if points[0] != (0.0, 0.0):
        yield "returns", f"starts at {points[0]}", "start at (0, 0)"
    if any(b[0] <= a[0] or b[1] <= a[1] for a, b in pairwise(points)):
        yield "returns", "does not rise from point to point", "both numbers must grow"
        return
    slopes = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in pairwise(points)]
    if any(later > earlier + 1e-12 for earlier, later in pairwise(slopes)):
        yield "returns", "is not concave", "each stretch must be flatter than the one before"
    if points[-1][1] > 1:
        yield "returns", f"ends at {points[-1][1]}, more than all of it", "end at 1 or less"


def _limits(record: DecisionRecord) -> Iterator[tuple[str, str, str]]:
    if record.work_budget < 1:
        yield "work_budget", "allows no work at all", "give the number of cells"
    for mode in get_args(Mode):
        if record.retest_weeks.get(mode, 0) < 1:
            yield f"retest_weeks.{mode}", "is missing or below 1", "give weeks for every mode"
