"""From values with a spread to grades: sure ones, uncertain ones, and what cannot be seen.

Apart from measuring because this is the only place that knows cut-offs. A grade is given only
where its probability, the value being normal about the truth with its spread, is at least
`sure_from`; so a value must clear every cut-off near it by more than its uncertainty.
"""

import math
from collections.abc import Iterator, Mapping
from typing import Literal

from msgspec import Struct

from service.landmarks.camera import Blocked
from service.landmarks.clean import Numbers
from service.landmarks.repeat import ONE_LEG
from service.model.knowledge import CutoffRecord, GradeRow
from service.model.landmarks import Clip, MeasureSummary, NotObservable, UncertainFinding
from service.model.quantities import FindingId, Grade, LandmarkMeasureId, Side
from service.model.screen import Observation

_UNSIDED: frozenset[FindingId] = frozenset(
    ("arms_lose_overhead", "depth_short", "hips_rise_first", "trunk_forward")
)
_BOTH_WAYS: frozenset[LandmarkMeasureId] = frozenset(("pelvis_shift", "trunk_side_lean"))
"""Midline measures that are one finding to the left and another to the right."""
_Reason = Literal["camera", "layout", "movement", "points", "repetitions", "view"]
_NEAR_ONLY: frozenset[LandmarkMeasureId] = frozenset(("heel_rise",))
"""Graded only on the side towards a camera at the side."""


class Graded(Struct, frozen=True, kw_only=True):
    """What is sure, and what is not."""

    observations: tuple[Observation, ...]
    uncertain: tuple[UncertainFinding, ...]


class _Seen(Struct, frozen=True, kw_only=True):
    side: Side
    value: float
    spread: float
    n: int


def grade(
    clip: Clip,
    facing: float,
    summaries: tuple[MeasureSummary, ...],
    records: Mapping[LandmarkMeasureId, CutoffRecord],
    numbers: Numbers,
) -> Graded:
    """Return the findings that have a cut-off here, by finding and side."""
    sure: list[Observation] = []
    open_: list[UncertainFinding] = []
    for measure, record in records.items():
        own = [s for s in summaries if s.measure == measure]
        for row in _rows(clip, record):
            if clip.view not in row.views:
                continue
            for seen in _seen(clip, facing, row.finding, measure, own):
                chances = grade_chances(seen.value, seen.spread, row.mild, row.marked)
                best: Grade = max(chances, key=lambda g: chances[g])
                if chances[best] >= numbers["sure_from"]:
                    sure.append(_observed(clip, row.finding, seen, best))
                else:
                    open_.append(_undecided(row, record, seen, chances))
    return Graded(
        observations=tuple(sorted(sure, key=lambda o: (o.finding, o.side))),
        uncertain=tuple(sorted(open_, key=lambda u: (u.finding, u.side))),
    )


def grade_chances(value: float, spread: float, mild: float, marked: float) -> dict[Grade, float]:
    """Return the probability of each grade; `marked` beyond `mild` says which way is worse."""
    way = 1.0 if marked > mild else -1.0
    beyond_mild = _below(way * (value - mild) / spread)
    beyond_marked = _below(way * (value - marked) / spread)
    return {
        "absent": 1.0 - beyond_mild,
        "mild": beyond_mild - beyond_marked,
        "marked": beyond_marked,
    }


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def _rows(clip: Clip, record: CutoffRecord) -> Iterator[GradeRow]:
    """Yield the rows of this movement, of each finding the one that fits the sex most exactly."""
    rows = [row for row in record.grades if clip.movement in row.movements]
    for row in rows:
        exact = any(other.finding == row.finding and other.sex == clip.sex for other in rows)
        if row.sex == clip.sex or (row.sex is None and not exact):
            yield row


def _seen(
    clip: Clip,
    facing: float,
    finding: FindingId,
    measure: LandmarkMeasureId,
    own: list[MeasureSummary],
) -> Iterator[_Seen]:
    """Yield the value for each side of a finding."""
    if finding in _UNSIDED:
        if own:
            yield _one_of(clip, own)
        return
    near: Side = "right" if facing > 0 else "left"
    for s in own:
        if measure in _NEAR_ONLY and s.side != near:
            continue
        if measure in _BOTH_WAYS and s.side == "none":
            yield _Seen(side="left", value=s.value, spread=s.spread, n=s.n)
            yield _Seen(side="right", value=-s.value, spread=s.spread, n=s.n)
        elif s.side != "none":
            yield _Seen(side=s.side, value=s.value, spread=s.spread, n=s.n)


def _one_of(clip: Clip, own: list[MeasureSummary]) -> _Seen:
    """Return one value of both sides: their mean on two legs, the smaller on one.

    On one leg sides are different repetitions, and a short left must not hide behind the right.
    """
    if clip.movement in ONE_LEG:
        least = min(own, key=lambda s: s.value)
        return _Seen(side="none", value=least.value, spread=least.spread, n=least.n)
    return _Seen(
        side="none",
        value=math.fsum(s.value for s in own) / len(own),
        spread=max(s.spread for s in own),
        n=min(s.n for s in own),
    )


def _observed(clip: Clip, finding: FindingId, seen: _Seen, best: Grade) -> Observation:
    return Observation(
        movement=clip.movement,
        view=clip.view,
        finding=finding,
        grade=best,
        side=seen.side,
        spread=round(seen.spread, 3),
        n=seen.n,
    )


def _undecided(
    row: GradeRow, record: CutoffRecord, seen: _Seen, chances: dict[Grade, float]
) -> UncertainFinding:
    assert record.measure is not None
    return UncertainFinding(
        finding=row.finding,
        side=seen.side,
        measure=record.measure,
        value=round(seen.value, 3),
        unit=record.unit,
        spread=round(seen.spread, 3),
        n=seen.n,
        absent=round(chances["absent"], 4),
        mild=round(chances["mild"], 4),
        marked=round(chances["marked"], 4),
        sources=tuple(sorted({row.source, record.error_source})),
    )


def not_observable(
    clip: Clip,
    cutoffs: Mapping[str, CutoffRecord],
    summaries: tuple[MeasureSummary, ...],
    graded: Graded,
    blocked: Blocked,
    repeated: bool,
) -> tuple[NotObservable, ...]:
    """Return the findings and measures that this clip does not show, by name."""
    have = {s.measure for s in summaries}
    told = {o.finding for o in graded.observations} | {u.finding for u in graded.uncertain}
    out: dict[str, NotObservable] = {}
    for record in cutoffs.values():
        measure = record.measure
        if measure is not None:
            reason = _reason(clip, record, measure in blocked, repeated)
            if measure not in have:
                out[measure] = NotObservable(
                    what=measure, side="none", reason=reason, instead=record.instead
                )
            for row in record.grades:
                if clip.movement in row.movements and row.finding not in told:
                    out.setdefault(
                        row.finding,
                        NotObservable(
                            what=row.finding,
                            side="none",
                            reason=reason if clip.view in row.views else "view",
                            instead=record.instead,
                        ),
                    )
        for unseen in record.unseen:
            if clip.view in unseen.views:
                for finding in unseen.findings:
                    out[finding] = NotObservable(
                        what=finding, side="none", reason="view", instead=unseen.instead
                    )
    return tuple(out[name] for name in sorted(out))


def _reason(clip: Clip, record: CutoffRecord, blocked: bool, repeated: bool) -> _Reason:
    if clip.view not in record.views:
        return "view"
    if record.measure == "pelvis_shift" and clip.movement in ONE_LEG:
        return "movement"
    if clip.layout not in record.layouts:
        return "layout"
    if blocked:
        return "camera"
    return "points" if repeated else "repetitions"
