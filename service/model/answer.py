"""What a caller gets back: every field present, nothing implied by absence."""

from msgspec import Struct

from service.model.quantities import (
    Aim,
    ChangeId,
    FindingId,
    Firmness,
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
    next_checks: tuple[LookAt, ...]
    turning_points: tuple[LookAt, ...]
    retest: tuple[Retest, ...]
    cautions: tuple[CautionAnswer, ...]
    warnings: tuple[Warning, ...]
    made_by: MadeBy
    decision: str
