"""Did it work: two screens or more of one client, what was done between them, and what is said.

Apart from the answer to one screen because here everything is a difference.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from service.model.answer import Answer, Because, MadeBy, Referral, Rung, Warning
from service.model.quantities import (
    FindingId,
    Grade,
    MeasureId,
    MovementId,
    OpenId,
    PainScore,
    Side,
    Unit,
    View,
)
from service.model.screen import Screen

Days = Annotated[int, Meta(ge=-3650, le=3650)]
Felt = Literal["easy", "hard", "right"]
Outcome = Literal["improved", "new", "unchanged", "worse"]
DrillDecision = Literal["easier", "harder", "keep", "swap"]


class Visit(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One more screen of the same client, so many days after the baseline."""

    day: Days
    screen: Screen


class Done(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A drill that was done since the baseline, how often, and how it was."""

    drill: OpenId
    sessions: Annotated[int, Meta(ge=0, le=1000)] | None = None
    felt: Felt | None = None
    pain: PainScore | None = None


class ReviewRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A baseline, a retest, and what lay between them."""

    baseline: Screen
    retest: Screen
    days_between: Days | None = None
    between: Annotated[tuple[Visit, ...], Meta(max_length=12)] = ()
    done: Annotated[tuple[Done, ...], Meta(max_length=64)] = ()
    charts: bool = False


class MeasurePoint(Struct, frozen=True, kw_only=True):
    """The value on one day, the mean of that day's repeats; `day` is null where none was told."""

    day: int | None
    value: float


class Trend(Struct, frozen=True, kw_only=True):
    """The straight line through three values or more, and what noise alone does to its slope.

    `noise_per_week` is 1.96 standard errors of the slope, from the error of the method; null
    where that is not published.
    """

    per_week: float
    noise_per_week: float | None
    beyond_noise: bool | None


class MeasureReview(Struct, frozen=True, kw_only=True):
    """One measure on one side by one method: its change, and whether that is more than noise.

    `direction` is null where neither way is better, or where nothing changed.
    """

    measure: MeasureId
    method: str
    side: Side
    was: float
    now: float
    change: float
    unit: Unit
    mdc95: float | None
    derived: bool
    """The MDC95 was worked out from other published figures, not printed."""
    real_change: bool | None
    direction: Literal["better", "worse"] | None
    text: str
    source: str
    points: tuple[MeasurePoint, ...]
    trend: Trend | None
    chart: str | None
    """An SVG of the values over time with their noise band; null unless asked for."""


class FindingReview(Struct, frozen=True, kw_only=True):
    """One finding looked for in both screens: what most likely became of it.

    `probability` is that of `outcome`, given both looks and how well an eye sees. `over_corrected`
    says that the opposite of it is seen now.
    """

    movement: MovementId
    view: View
    finding: FindingId
    side: Side
    was: Grade
    now: Grade
    outcome: Outcome
    probability: float
    over_corrected: bool
    text: str


class CauseReview(Struct, frozen=True, kw_only=True):
    """The belief in one cause at the baseline and now, each from both screens together."""

    cause: str
    name: str
    side: Side
    before: float
    after: float


class DrillReview(Struct, frozen=True, kw_only=True):
    """What to do with a drill that was done, and the drill to go on with, if another."""

    drill: str
    name: str
    decision: DrillDecision
    next: Rung | None
    because: tuple[Because, ...]


class ReviewAnswer(Struct, frozen=True, kw_only=True):
    """What changed, what that means for each drill, and the next plan.

    `expected` says what kind of change should show by now. `next` is the plan for the retest,
    with the drills done as `recent`, and without those that are left behind.
    """

    summary: str
    ref: str | None
    days_between: int | None
    """As used; null where not told, or where the retest lay before the baseline."""
    measures: tuple[MeasureReview, ...]
    findings: tuple[FindingReview, ...]
    causes: tuple[CauseReview, ...]
    drills: tuple[DrillReview, ...]
    referrals: tuple[Referral, ...]
    notes: tuple[Because, ...]
    """What has to be said of the whole: pain that rose, nothing that changed, over-correction."""
    next: Answer
    warnings: tuple[Warning, ...]
    """Pointers lead into the request; those of the next plan stand there."""
    made_by: MadeBy
    decision: str
    """SHA-256 of everything that was decided on."""
