"""What a caller sends: everything known about one client today."""

from typing import Annotated

from msgspec import Meta, Struct

from service.model.quantities import (
    Age,
    AlertId,
    ChangeId,
    ConditionId,
    Depth,
    Explain,
    FindingId,
    GivenUnit,
    Grade,
    Include,
    Level,
    MeasureId,
    Minutes,
    MovementId,
    OpenId,
    PainKind,
    PainScore,
    PainWhen,
    Phase,
    Reading,
    RegionId,
    Result,
    Setting,
    Sex,
    Side,
    TargetId,
    View,
    Weeks,
)


class Condition(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A health condition the client reports; no region means the whole body."""

    id: ConditionId
    region: RegionId | None = None
    side: Side = "none"
    weeks_ago: Weeks | None = None
    cleared: bool = False


class Pain(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Pain today: 0 none to 10 worst."""

    region: RegionId
    score: PainScore
    side: Side = "none"
    kind: PainKind | None = None
    when: PainWhen | None = None


class Client(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who moves; null lists mean not asked, empty lists mean asked and none."""

    ref: Annotated[str, Meta(max_length=64)] | None = None
    level: Level = "new"
    age_years: Age | None = None
    sex: Sex | None = None
    conditions: Annotated[tuple[Condition, ...], Meta(max_length=24)] | None = None
    alerts: Annotated[tuple[AlertId, ...], Meta(max_length=24)] | None = None
    pain: Annotated[tuple[Pain, ...], Meta(max_length=24)] | None = None


class Trial(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The same movement again under one change; `repeats` is true if it is kept unprompted."""

    change: ChangeId
    result: Result
    repeats: bool | None = None


class Observation(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One finding looked for in one movement, view and side.

    `spread` and `n` come with an observation made from landmarks: one standard error of the value
    behind it, and the repetitions. They are kept with the record and not weighed.
    """

    movement: MovementId
    view: View
    finding: FindingId
    grade: Grade
    side: Side = "none"
    depth: Depth | None = None
    phase: Phase | None = None
    trials: Annotated[tuple[Trial, ...], Meta(max_length=6)] = ()
    spread: Annotated[float, Meta(ge=0, le=1000)] | None = None
    n: Annotated[int, Meta(ge=1, le=3600)] | None = None


class Measurement(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A number with its unit, of a known measure; `spread` and `n` as in an observation."""

    measure: MeasureId
    value: Reading
    unit: GivenUnit
    side: Side = "none"
    method: OpenId | None = None
    same_rater: bool | None = None
    spread: Annotated[float, Meta(ge=0, le=1000)] | None = None
    n: Annotated[int, Meta(ge=1, le=3600)] | None = None


class Known(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A cause that the coach knows to be present or not."""

    cause: OpenId
    present: bool
    side: Side = "none"


class Options(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How to answer; nothing here changes what is decided."""

    explain: Explain = "short"
    language: Annotated[str, Meta(min_length=2, max_length=35)] | None = None
    include: Annotated[tuple[Include, ...], Meta(max_length=8)] = ()


class Screen(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Everything known about one client today."""

    observations: Annotated[tuple[Observation, ...], Meta(max_length=128)]
    client: Client = Client()
    target: TargetId | None = None
    minutes: Minutes = 10
    kit: Annotated[tuple[OpenId, ...], Meta(max_length=64)] = ()
    setting: Setting = "in_person"
    measurements: Annotated[tuple[Measurement, ...], Meta(max_length=64)] = ()
    recent: Annotated[tuple[OpenId, ...], Meta(max_length=256)] = ()
    avoid: Annotated[tuple[OpenId, ...], Meta(max_length=256)] = ()
    known: Annotated[tuple[Known, ...], Meta(max_length=64)] = ()
    options: Options = Options()
