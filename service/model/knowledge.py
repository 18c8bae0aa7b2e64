"""The records of the pack, one struct a kind, as they are written in TOML.

A file `knowledge/<kind>/<any>.toml` holds an array of tables named after its folder
(`[[drills]]`), sorted by id. What a record's numbers rest on stands in its `sources`; where
`estimate` is among them, `reasoning` says which numbers and why.
Over 400 lines, because whoever writes a record should find every kind in one place.
"""

from datetime import date
from typing import Annotated, Literal

from msgspec import Meta, Struct

from service.model.pose import (
    Angle,
    Angles,
    Axis,
    Contact,
    Joint,
    Pose,
    PoseView,
    Segment,
    Surface,
)
from service.model.quantities import (
    Aim,
    AlertId,
    ConditionId,
    FindingId,
    Grade,
    LandmarkMeasureId,
    LandmarkUnit,
    Layout,
    Level,
    MeasureId,
    Mode,
    MovementId,
    PainKind,
    PainWhen,
    Probability,
    RegionId,
    Sex,
    Status,
    TargetId,
    Text,
    Unit,
    Urgency,
    View,
)

Slug = Annotated[str, Meta(pattern=r"^[a-z0-9]+([._-][a-z0-9]+)*$(?!\n)", max_length=64)]
Strength = Annotated[float, Meta(ge=0.02, le=0.98)]
Leak = Annotated[float, Meta(ge=0.005, le=0.98)]
Effect = Annotated[float, Meta(gt=0, le=1)]
Seconds = Annotated[int, Meta(ge=0, le=600)]
Count = Annotated[int, Meta(ge=1, le=60)]


class Record(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What every record carries."""

    id: Slug
    name: Text
    status: Status
    sources: Annotated[tuple[str, ...], Meta(min_length=1)]
    checked: date
    reasoning: str = ""


# --- what is seen -------------------------------------------------------------------------


class Look(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A finding worth looking for in a movement, and from where."""

    finding: FindingId
    views: Annotated[tuple[View, ...], Meta(min_length=1)]


class MovementRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A movement that is watched, or only trained towards (`watched` false)."""

    watched: bool
    regions: tuple[RegionId, ...]
    """Regions that the movement loads: closed pain there refers when it is the target."""
    one_leg: bool = False
    how: str = ""
    """How to set it up and watch it, in one or two sentences."""
    look_for: tuple[Look, ...] = ()
    """What to look at, most telling first; `nothing_found` needs `enough` of these looked at."""
    enough: Annotated[int, Meta(ge=0, le=20)] = 0
    speaks_for: dict[TargetId, Probability] = {}
    """How much an event in this movement says about each target, 0 to 1; itself is 1."""
    on_one_leg: MovementId | None = None
    """The one-leg movement in which a practised pattern is watched next."""
    skill: str = ""
    """Id of the `.skill` cause that lacking practice of this movement stands for."""


class Eye(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How well the eye sees a finding in some movements from some views."""

    movements: Annotated[tuple[MovementId, ...], Meta(min_length=1)]
    views: Annotated[tuple[View, ...], Meta(min_length=1)]
    sensitivity: Strength
    specificity: Strength
    leak: Leak
    """P(the finding is really there though no listed cause made it)."""
    source: str
    why: str = ""


class FindingRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A visible departure. It can be seen where an eye is given, and nowhere else."""

    sided: bool
    region: RegionId
    looks_like: Text
    eyes: tuple[Eye, ...]
    """At most one eye for each movement and view."""
    weight: Probability
    """How much it matters for a target that has no weight of its own below, 0 to 1."""
    weights: dict[TargetId, Probability] = {}
    opposite: FindingId | None = None
    wrong_when: Text


# --- what is likely -----------------------------------------------------------------------


class MusclePart(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A muscle of a cause and what it does, in words, at the depth in question."""

    muscle: Slug
    does: Text


class CauseRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A hypothesis of why a finding is seen; its id is `stem.mode`."""

    stem: Slug
    mode: Mode
    sided: bool
    region: RegionId
    prior: Probability
    """P(present) on one side, or at all where it has no sides."""
    twin: Probability = 0.0
    """P(the other side too | present on one); must be at least `prior`. Only where sided."""
    muscles: tuple[MusclePart, ...] = ()
    means: Text
    """What it says of the client, in one sentence to a client: never a diagnosis."""
    advice: str = ""
    """For `build` and `stance`: how to accommodate it."""
    wrong_when: Text


class LinkRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How strongly a cause makes a finding appear, by movement.

    `relation` says on which side: `same` or `opposite` side of a sided cause, `either` where
    the finding has no side and both twins can make it, `none` where the cause has no sides.
    """

    cause: Slug
    finding: FindingId
    relation: Literal["same", "opposite", "either", "none"]
    strengths: Annotated[dict[MovementId, Strength], Meta(min_length=1)]
    posture: str = ""
    """Posture of the muscle table that the link rests on, such as `squat_hip60`."""
    disagrees: str = ""
    """Where the muscle table says otherwise: what it says, and why the link stands."""
    wrong_when: Text


class Persistence(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """P(an active cause that fired keeps firing under the change).

    Exactly one of `cause`, `stem` and `mode` is given; the most exact match counts.
    `finding`, if given, narrows it to one finding and counts before the general row.
    """

    a: Strength
    cause: str | None = None
    stem: str | None = None
    mode: Mode | None = None
    finding: FindingId | None = None


class ChangeRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing to change before looking again."""

    how: Text
    """What to tell the client, in one sentence."""
    movements: tuple[MovementId, ...]
    """Where it can be tried."""
    remote: bool
    kit: tuple[Slug, ...] = ()
    seconds: Seconds
    otherwise: Strength
    """`a` of every cause that no row below names."""
    leak: Strength
    """`a` of the leak: a false sighting need not repeat."""
    persistence: tuple[Persistence, ...] = ()


class Method(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One way to take a measure. SEM and MDC95 in the unit of the measure."""

    id: Slug
    how: Text
    kit: tuple[Slug, ...] = ()
    seconds: Seconds
    sem: float | None = None
    """Same rater."""
    sem_other: float | None = None
    """Another rater."""
    mdc95: float | None = None
    mdc95_other: float | None = None
    derived: bool = False
    source: str


class Reference(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Mean and SD of people without the limit; null sex or ages mean any."""

    mean: float
    sd: float
    sex: Sex | None = None
    age_from: int | None = None
    age_to: int | None = None
    method: str | None = None
    source: str
    why: str = ""


class SpeaksFor(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A cause that the measure informs: with it, the mean lies `shift` units from the reference."""

    cause: Slug
    shift: float
    source: str
    why: str = ""


class MeasureRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A measure, its methods, and what its values say. Methods are kept apart."""

    unit: Unit
    sided: bool
    region: RegionId | None = None
    methods: Annotated[tuple[Method, ...], Meta(min_length=1)]
    default_method: Slug
    lowest: float
    highest: float
    """Outside these a value is not plausible and is not weighed."""
    better: Literal["higher", "lower", "none"]
    family: Slug
    """Measures of one family on one side count once, the most reliable."""
    references: tuple[Reference, ...] = ()
    speaks_for: tuple[SpeaksFor, ...] = ()
    weeks: Annotated[int, Meta(ge=0, le=26)] = 0
    """When a change usually shows."""
    silent: str = ""
    """Why it carries no weight, where published work finds it uninformative."""
    wrong_when: Text


class Action(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one muscle does about one motion in one posture, from an open model."""

    posture: str
    motion: str
    arm_mm: float
    torque_nm: float
    action: str
    fibre_state: Literal["slack", "mid", "stretched", "unknown"]


class MuscleRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A muscle, and its action by posture where the open model has it."""

    region: RegionId
    actions: tuple[Action, ...] = ()


# --- what to do ---------------------------------------------------------------------------


class Trains(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A cause that the drill serves, and how well: 1 would address all of it today."""

    cause: Slug
    effect: Effect
    why: str = ""


class Fault(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A common error and its fix."""

    seen: Text
    fix: Text


Position = Literal[
    "half_kneeling", "hands_and_knees", "kneeling", "prone", "seated", "side_lying", "side_support",
    "squatting", "standing", "supine", "one_leg", "split_stance", "front_support",
]  # fmt: skip
Load = Literal["none", "light", "moderate", "heavy"]


class DrillRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An exercise with one aim. Everything a caution asks about is declared."""

    aim: Aim
    region: RegionId
    trains: Annotated[tuple[Trains, ...], Meta(min_length=1)]
    carries_to: dict[TargetId, Probability] = {}
    pattern: TargetId | None = None
    """The movement that a transfer or practice drill is."""
    helper: str | None = None
    """A band, wedge, cue or other help (kit or change id) that is taken away again afterwards."""
    level: Level
    """The lowest level that may be given it."""
    kit: tuple[tuple[Slug, ...], ...] = ((),)
    """Alternatives, each a set of ids; an empty set means none is needed."""
    each_side: bool
    """Done left and right in turn, with sets for each."""
    remote: bool
    """Can be taught at a distance."""
    dose: Slug
    lower_s: Seconds = 0
    pause_s: Seconds = 0
    lift_s: Seconds = 0
    setup_s: Seconds
    stretches: tuple[Slug, ...] = ()
    """Muscles put under a static stretch, for the cap on holds before a lift."""
    position: Position
    load: Load
    loads: tuple[RegionId, ...]
    """Regions that bear load or are moved under effort."""
    end_range: tuple[RegionId, ...] = ()
    spine_bends: bool = False
    spine_twists: bool = False
    spine_arches: bool = False
    impact: bool = False
    braced: bool = False
    """Invites breath holding."""
    balance: bool = False
    """A fall is possible without support."""
    head_low: bool = False
    overhead: bool = False
    cue: Text
    touch_cue: str = ""
    good_looks_like: Text
    stop_when: Text
    errors: Annotated[tuple[Fault, ...], Meta(min_length=2)]
    wrong_when: Text
    poses: Annotated[tuple[Pose, ...], Meta(max_length=3)] = ()
    """How it looks, from the start to the end of a repetition."""


class PostureRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A way to stand, lie, kneel or hang from which poses differ; see `Pose` for the fields."""

    joints: Angles = {}
    left: Angles = {}
    right: Angles = {}
    lean: Angle = 0
    roll: Angle = 0
    turn: Angle = 0
    view: PoseView
    on: dict[Contact, Surface]


class FigureRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The one body that is drawn: lengths as parts of body height, and how far joints go."""

    lengths: dict[Segment, Annotated[float, Meta(gt=0, lt=1)]]
    limits: dict[Joint | Axis, tuple[Angle, Angle]]
    """Lowest and highest angle in degrees."""


class LadderRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Drills from easier to harder; at most one rung of it enters a session."""

    rungs: Annotated[tuple[Slug, ...], Meta(min_length=2)]
    move_up_when: Text
    move_down_when: Text


class KitRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A piece of equipment."""

    measuring: bool = False
    setup_s: Seconds = 0


class DoseRow(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Sets of repetitions or of a hold. Exactly one of `reps` and `hold_s`, or holds repeated."""

    sets: Annotated[int, Meta(ge=1, le=6)]
    reps: Count
    hold_s: Seconds = 0
    """Seconds held in each repetition (isometric or static), on top of the drill's tempo."""
    rest_s: Seconds
    effort: Annotated[int, Meta(ge=0, le=10)]
    """Repetitions left in reserve."""
    short_sets: Annotated[int, Meta(ge=0, le=5)] = 0
    """Sets of the short dose; 0 means there is none."""
    short_effect: Probability = 0.0
    """Part of the full effect that the short dose keeps."""


class DoseRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How much, by level."""

    aim: Aim
    times_a_week: Annotated[int, Meta(ge=1, le=14)]
    new: DoseRow
    regular: DoseRow
    advanced: DoseRow


# --- what holds the plan back -------------------------------------------------------------


class Fact(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing that must hold of the client. Every field given must hold."""

    alert: AlertId | None = None
    condition: ConditionId | None = None
    cleared: bool | None = None
    """True: holds only when cleared; false: only when not."""
    within_weeks: int | None = None
    """The condition is at most this old (unknown age counts as recent)."""
    pain_region: RegionId | None = None
    pain_any: bool | None = None
    """True: there is pain of at least `pain_from` in any region."""
    pain_from: int | None = None
    pain_kind: PainKind | None = None
    pain_when: PainWhen | None = None
    age_from: int | None = None
    age_to: int | None = None
    measure: MeasureId | None = None
    at_least: float | None = None
    at_most: float | None = None


class Closes(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a caution takes away from today's drills: any drill with any of these is closed."""

    regions: tuple[RegionId, ...] = ()
    """Drills that load these regions."""
    own_region: bool = False
    """Drills that load the region (and side, if known) that the condition or pain names."""
    positions: tuple[Position, ...] = ()
    loads: tuple[Load, ...] = ()
    own_region_loads: tuple[Load, ...] = ()
    """Drills of these loads in the region that the condition or pain names."""
    hold_longer_than_s: int | None = None
    end_range: bool = False
    own_region_end_range: bool = False
    spine_bends: bool = False
    spine_twists: bool = False
    spine_arches: bool = False
    impact: bool = False
    braced: bool = False
    balance: bool = False
    head_low: bool = False
    overhead: bool = False
    aims: tuple[Aim, ...] = ()


class CautionRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A limit on what may be planned. Holds when any of `when` holds whole."""

    when: Annotated[tuple[tuple[Fact, ...], ...], Meta(min_length=1)]
    """Alternatives; each is a set of facts that must all hold."""
    closes: Closes
    say: Text
    demands_clearance: bool = False
    """Refers, and plans nothing, until the condition is cleared."""
    refers: Urgency | None = None
    """Also advises to see a licensed professional, with this urgency."""
    wrong_when: Text


class AlertRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An answer that stops planning and refers."""

    when: Annotated[tuple[tuple[Fact, ...], ...], Meta(min_length=1)]
    urgency: Urgency
    ask: Text
    """How to ask for it, in plain words."""
    say: Text
    wrong_when: Text


class RuleRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A rule of session making; `kind` is what the engine knows how to hold."""

    kind: Literal[
        "aim_order",
        "build_not_trained",
        "cause_stays",
        "dose_progression",
        "drill_pain",
        "ends_in_pattern",
        "finding_change",
        "frequency",
        "helper_then_plain",
        "level_limit",
        "lighter_week",
        "new_drill_limit",
        "no_change",
        "one_rung",
        "over_correction",
        "pain_rose",
        "practice_only",
        "practice_step",
        "range_limit",
        "real_change",
        "rest_days",
        "rung_progression",
        "series_length",
        "short_dose",
        "static_hold_limit",
        "step_limit",
        "taught_from_afar",
        "try_before_training",
        "variation",
        "weaker_side_first",
    ]
    numbers: dict[str, int] = {}
    refers: Urgency | None = None
    """How urgent the referral is that the rule makes, if it makes one."""
    say: Text


# --- what it rests on ---------------------------------------------------------------------


class SourceRecord(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A publication, an open model, `practice` or `estimate`."""

    id: Slug
    kind: Literal["publication", "guideline", "model", "practice", "estimate"]
    citation: Text
    doi: str = ""
    year: int | None = None
    provenance: Literal["read", "memory", "own"]
    """`read`: figures read in an abstract or secondary copy; `memory`: not checked again."""
    null_result: bool = False
    note: str = ""


class TextRecord(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One sentence template; `{name}` stands for a value.

    In a second language also what is said of a record: id `kind.record.field`.
    """

    id: Annotated[str, Meta(pattern=r"^[a-z0-9]+([._-][a-z0-9]+)*$(?!\n)", max_length=128)]
    text: Text


# --- the numbers of the decision itself ---------------------------------------------------


class Confusion(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """P(reported result | true result); rows sum to one. `worse` is read as `same`."""

    gone: dict[Literal["gone", "better", "same"], Probability]
    better: dict[Literal["gone", "better", "same"], Probability]
    same: dict[Literal["gone", "better", "same"], Probability]


class DecisionRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The one set of numbers that the decision itself needs, each argued in `reasoning`."""

    grade_leak: dict[Grade, float]
    """Factor on the odds of the leak for each positive grade."""
    grade_weight: dict[Grade, Probability]
    """Weight of a sighting of each positive grade in W."""
    confusion: Confusion
    lr_limit: Annotated[float, Meta(ge=1)]
    returns: Annotated[tuple[tuple[float, float], ...], Meta(min_length=2)]
    """r: points (summed effect, part addressed) of a concave rising line from (0, 0)."""
    price: Probability
    """Cost of one more step, in the unit of value."""
    practise_from: Probability
    train_from: Probability
    present_from: Probability
    carry_weight: Probability
    """Value of one unit of carry-over into the target."""
    changeover_s: Seconds
    retest_weeks: dict[Mode, int]
    """Weeks after which a change of each kind of cause usually shows."""
    work_budget: int
    """Cells of inference above which the least relevant events are not weighed."""
    checks_compared: Annotated[int, Meta(ge=1, le=500)]
    """How many checks, those that matter most for the target, are compared by what they tell."""
    checks_planned: Annotated[int, Meta(ge=1, le=100)]
    """How many checks, those that tell most in a minute, are planned through for their gain."""
    checks_work: Annotated[int, Meta(ge=1)]
    """How many sightings all checks that are compared may weigh together, each the screen's own."""
    least_gain: Probability
    """Expected gain, in the unit of value, under which a check is not worth its time."""
    look_s: Seconds
    """Seconds to set a movement up and watch it from one view."""
    bins: tuple[Probability, ...]
    """Parts of people without the limit below each edge between two outcomes of a measurement."""
    link_spread: Annotated[float, Meta(ge=0, le=5)]
    """One spread of a link's strength, in log odds."""
    disagree_from: Annotated[float, Meta(ge=0)]
    """Log odds that a measurement and what was seen must each move a cause, against each other."""


# --- what a clip of landmarks says --------------------------------------------------------

ClipNumber = Literal[
    "angle_highest_deg",
    "angle_lowest_deg",
    "camera_distance_legs",
    "camera_down_deg",
    "camera_part_most_deg",
    "camera_roll_deg",
    "camera_yaw_deg",
    "confidence_error_deg",
    "confidence_floor",
    "corner_hz",
    "descend_part",
    "edge_part",
    "fewest_fps",
    "gap_s",
    "jump_legs",
    "least_depth",
    "least_seen",
    "longest_s",
    "out_of_plane_deg",
    "repeat_weight",
    "return_part",
    "roll_limit_deg",
    "shoulders_in_trunk",
    "sure_from",
    "yaw_limit_deg",
]


class GradeRow(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where a measure becomes a mild and a marked finding; `marked` lies beyond `mild`.

    Rows of one finding, movement and sex do not overlap; null sex means not told.
    """

    finding: FindingId
    movements: Annotated[tuple[MovementId, ...], Meta(min_length=1)]
    views: Annotated[tuple[View, ...], Meta(min_length=1)]
    mild: float
    marked: float
    sex: Sex | None = None
    source: str
    why: str = ""


class Unseen(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Findings that landmarks cannot show from these views, and the check to do instead."""

    findings: Annotated[tuple[FindingId, ...], Meta(min_length=1)]
    views: Annotated[tuple[View, ...], Meta(min_length=1)]
    instead: Text


class CutoffRecord(Record, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A measure taken from landmarks: its error, its cut-offs, and what to do where it is blind.

    `error` is the method's own standard error, `repeat_spread` the usual spread between
    repetitions, both in `unit`. A record without `measure` holds the numbers of reading a clip
    (`numbers`) or what no landmark shows (`unseen`).
    """

    measure: LandmarkMeasureId | None = None
    unit: LandmarkUnit = "deg"
    views: tuple[View, ...] = ()
    layouts: tuple[Layout, ...] = ()
    error: Annotated[float, Meta(ge=0)] = 0.0
    error_source: str = ""
    repeat_spread: Annotated[float, Meta(ge=0)] = 0.0
    instead: str = ""
    grades: tuple[GradeRow, ...] = ()
    unseen: tuple[Unseen, ...] = ()
    numbers: dict[ClipNumber, float] = {}
