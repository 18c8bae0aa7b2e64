"""What a caller gets back: every field present, nothing implied by absence.

Over 400 lines, because one place shows the whole answer and its order.
"""

from typing import Literal

from msgspec import Struct

from service.model.quantities import (
    Aim,
    ChangeId,
    FindingId,
    Firmness,
    Grade,
    LeftOutReason,
    MeasureId,
    MovementId,
    RegionId,
    Result,
    Side,
    TargetId,
    Unit,
    Urgency,
    Verdict,
    View,
)


class Because(Struct, frozen=True, kw_only=True):
    """One reason: a code, its sentence, and what it rests on.

    `moved` is the change in the log odds (natural log) of the belief that this evidence made,
    found by leaving it out; null where the reason is not evidence about a cause.
    """

    code: str
    text: str
    movement: MovementId | None
    view: View | None
    finding: FindingId | None
    side: Side | None
    change: ChangeId | None
    result: Result | None
    measure: MeasureId | None
    value: float | None
    unit: Unit | None
    cause: str | None
    rule: str | None
    moved: float | None
    sources: tuple[str, ...]


class MuscleRole(Struct, frozen=True, kw_only=True):
    """A muscle of a cause and what it does at the depth in question."""

    muscle: str
    name: str
    does: str


class Explains(Struct, frozen=True, kw_only=True):
    """How much of one finding this cause accounts for."""

    movement: MovementId
    finding: FindingId
    side: Side
    share: float


class CauseAnswer(Struct, frozen=True, kw_only=True):
    """One hypothesis, ranked."""

    cause: str
    name: str
    side: Side
    muscles: tuple[MuscleRole, ...]
    belief: float
    weight: float
    explains: tuple[Explains, ...]
    firmness: Firmness | None
    because: tuple[Because, ...]
    wrong_when: str


class Referral(Struct, frozen=True, kw_only=True):
    """Advice to see a licensed professional, for the whole client or one region."""

    id: str
    region: RegionId | None
    side: Side
    urgency: Urgency
    text: str
    sources: tuple[str, ...]


class CautionAnswer(Struct, frozen=True, kw_only=True):
    """A limit that today's plan respects."""

    id: str
    region: RegionId | None
    side: Side
    text: str
    sources: tuple[str, ...]


class Tempo(Struct, frozen=True, kw_only=True):
    """Seconds of each part of one repetition."""

    lower_s: int
    pause_s: int
    lift_s: int


class SideDose(Struct, frozen=True, kw_only=True):
    """Sets for one side, or for both at once."""

    side: Side
    sets: int


class Rung(Struct, frozen=True, kw_only=True):
    """A neighbour on the ladder."""

    drill: str
    name: str


class Step(Struct, frozen=True, kw_only=True):
    """One drill of today with its dose."""

    drill: str
    name: str
    aim: Aim
    kit: tuple[str, ...]
    sides: tuple[SideDose, ...]
    reps: int | None
    tempo: Tempo | None
    hold_s: int | None
    effort: int
    rest_s: int
    seconds: int
    times_a_week: int
    cues: tuple[str, ...]
    good_looks_like: str
    stop_when: str
    easier: Rung | None
    harder: Rung | None
    because: tuple[Because, ...]


class Session(Struct, frozen=True, kw_only=True):
    """Today's ordered steps; `value` is the part of what was seen that they address, 0 to 1."""

    minutes: float
    value: float
    steps: tuple[Step, ...]


class LeftOut(Struct, frozen=True, kw_only=True):
    """The best drill that one reason kept out, and how many that reason kept out."""

    drill: str
    name: str
    reason: LeftOutReason
    detail: str
    count: int


class LookAt(Struct, frozen=True, kw_only=True):
    """Something to look at before trusting a plan."""

    text: str
    movement: MovementId | None
    view: View | None
    finding: FindingId | None
    change: ChangeId | None
    measure: MeasureId | None


class SideOutcome(Struct, frozen=True, kw_only=True):
    """What one side of a check may show: a grade, a result, or a reading between two numbers.

    `at_least` and `below` are null at the open ends.
    """

    side: Side
    grade: Grade | None
    result: Result | None
    at_least: float | None
    below: float | None


class CheckOutcome(Struct, frozen=True, kw_only=True):
    """One answer that a check may give, how likely it is, and what the plan would be then.

    `value` is that of the best session then; `gain` is how much more that is than the value of
    today's session then, never below 0.
    """

    text: str
    sides: tuple[SideOutcome, ...]
    probability: float
    verdict: Verdict
    cause: str | None
    cause_side: Side | None
    first_step: str | None
    value: float
    gain: float


class NextCheck(Struct, frozen=True, kw_only=True):
    """One more look, and what it is expected to be worth.

    `gain` is the sum over the outcomes of probability times gain, in the unit of the session's
    value. `bits` is the expected information on the cause that the check tells most about,
    which is `tells`. Ranked by gain a minute, then bits a minute; `seconds` hold the set-up.
    """

    text: str
    movement: MovementId | None
    view: View | None
    finding: FindingId | None
    side: Side | None
    change: ChangeId | None
    measure: MeasureId | None
    method: str | None
    kit: tuple[str, ...]
    seconds: int
    gain: float
    bits: float
    gain_per_minute: float
    bits_per_minute: float
    tells: str | None
    settles: bool
    """Bears on a cause that a measurement and what was seen disagree about."""
    outcomes: tuple[CheckOutcome, ...]


class TurningPoint(Struct, frozen=True, kw_only=True):
    """The smallest single change of one kind that changes the plan, proven by planning again.

    `kind` names what was changed, `was` and `becomes` its value before and after; `turns` names
    what differs then. `verdict`, `cause`, `cause_side`, `first_step` and `decision` are those of
    the answer after the change.
    """

    kind: Literal[
        "grade", "kit", "level", "measurement", "minutes", "setting", "side", "trial_result"
    ]
    text: str
    movement: MovementId | None
    view: View | None
    finding: FindingId | None
    side: Side | None
    change: ChangeId | None
    measure: MeasureId | None
    was: str
    becomes: str
    distance: int
    """Steps between the two: grades, results, minutes, or steps of the measure's own error."""
    turns: tuple[Literal["first_step", "leading_cause", "verdict"], ...]
    verdict: Verdict
    cause: str | None
    cause_side: Side | None
    first_step: str | None
    decision: str


class TraceNode(Struct, frozen=True, kw_only=True):
    """One number or rule of a decision: what it is, its value, and the nodes it came from.

    Ids are unique in a trace and inputs come before what they lead to. `value` is null where the
    node is a fact and no number; `detail` is an id or a code, never a sentence.
    """

    id: str
    kind: Literal[
        "prior",
        "likelihood",
        "posterior",
        "share",
        "weight",
        "term",
        "score",
        "constraint",
        "rule",
        "left_out",
    ]
    value: float | None
    unit: str
    inputs: tuple[str, ...]
    detail: str
    sources: tuple[str, ...]


class Retest(Struct, frozen=True, kw_only=True):
    """What to look at again, when, and how large a change is more than noise."""

    text: str
    movement: MovementId | None
    view: View | None
    finding: FindingId | None
    measure: MeasureId | None
    side: Side
    weeks: int
    mdc95: float | None
    unit: Unit | None
    sources: tuple[str, ...]


class Warning(Struct, frozen=True, kw_only=True):
    """Something in the screen that was not used, or not asked; `pointer` is RFC 6901."""

    code: str
    pointer: str
    text: str


class MadeBy(Struct, frozen=True, kw_only=True):
    """Which service, contract and pack answered."""

    service: str
    contract: str
    pack: str
    digest: str


class Answer(Struct, frozen=True, kw_only=True):
    """A plan, with its reasons."""

    verdict: Verdict
    summary: str
    ref: str | None
    target: TargetId | None
    causes: tuple[CauseAnswer, ...]
    referrals: tuple[Referral, ...]
    session: Session | None
    carry_over: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    look_at: tuple[LookAt, ...]
    next_checks: tuple[NextCheck, ...]
    turning_points: tuple[TurningPoint, ...]
    retest: tuple[Retest, ...]
    cautions: tuple[CautionAnswer, ...]
    warnings: tuple[Warning, ...]
    made_by: MadeBy
    decision: str
    trace: tuple[TraceNode, ...] | None
    """All that the decision rests on; null unless `options.explain` is `full`."""


class NextCheckAnswer(Struct, frozen=True, kw_only=True):
    """What to look at next, best first; empty where nothing more is worth its time."""

    verdict: Verdict
    summary: str
    ref: str | None
    target: TargetId | None
    value: float
    """Of today's session, 0 without one."""
    checks: tuple[NextCheck, ...]
    considered: int
    """How many checks were scored."""
    least_gain: float
    """The pack's threshold: what is expected to gain less is not worth its time."""
    referrals: tuple[Referral, ...]
    warnings: tuple[Warning, ...]
    made_by: MadeBy
    decision: str


class TrialUnderstood(Struct, frozen=True, kw_only=True):
    """A trial that counts."""

    change: ChangeId
    result: Result
    from_depth: bool
    """Read from the depth that was told, not tried."""


class Understood(Struct, frozen=True, kw_only=True):
    """One observation as it is weighed: an event, all its views together, and its trials."""

    movement: MovementId
    finding: FindingId
    side: Side
    grade: Grade
    views: tuple[View, ...]
    trials: tuple[TrialUnderstood, ...]
    matters: float
    """How much it weighs for the target, 0 to 1."""


class ReadingUnderstood(Struct, frozen=True, kw_only=True):
    """A measurement as it is weighed, the mean of its repeats."""

    measure: MeasureId
    method: str
    side: Side
    value: float
    unit: Unit
    usual: float
    causes: tuple[str, ...]
    likelihood_ratio: float


class KnownUnderstood(Struct, frozen=True, kw_only=True):
    """A cause that was told to be there or not."""

    cause: str
    side: Side
    present: bool


class Validation(Struct, frozen=True, kw_only=True):
    """A screen as it is understood; `warnings` name what is ignored and why. Nothing is decided.

    `referrals` and `cautions` are what the client's own answers call for, whatever was seen.
    """

    ref: str | None
    target: TargetId | None
    target_assumed: bool
    stops: bool
    """Whether a plan would refer and hold no session."""
    observations: tuple[Understood, ...]
    measurements: tuple[ReadingUnderstood, ...]
    known: tuple[KnownUnderstood, ...]
    referrals: tuple[Referral, ...]
    cautions: tuple[CautionAnswer, ...]
    warnings: tuple[Warning, ...]
    made_by: MadeBy
    decision: str
