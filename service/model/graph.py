"""The pack, compiled: live records by id, and integer tables that the engine walks.

Frozen: structs, tuples and read-only mappings. Everything here can be derived from the
records; what is derived is what would be slow or repeated to derive on each request.
"""

from collections.abc import Mapping

from msgspec import Struct

from service.model.knowledge import (
    AlertRecord,
    CauseRecord,
    CautionRecord,
    ChangeRecord,
    CutoffRecord,
    DecisionRecord,
    DoseRecord,
    DrillRecord,
    FigureRecord,
    FindingRecord,
    KitRecord,
    LadderRecord,
    LinkRecord,
    MeasureRecord,
    MovementRecord,
    MuscleRecord,
    PostureRecord,
    RuleRecord,
    SourceRecord,
)
from service.model.network import Network
from service.model.quantities import Level, Side


class Pack(Struct, frozen=True, kw_only=True):
    """Identity of one version of the knowledge; `digest` is SHA-256 over all that is live."""

    name: str
    version: str
    digest: str


class EventKey(Struct, frozen=True, kw_only=True):
    """What an event of the network is; side is `left`, `right` or `none`."""

    movement: str
    finding: str
    side: Side


class EyeNumbers(Struct, frozen=True, kw_only=True):
    """How well one view sees a finding in a movement."""

    sensitivity: float
    specificity: float
    source: str


class DoseOffer(Struct, frozen=True, kw_only=True):
    """One dose of a drill for one level, in real seconds.

    `seconds` holds set-up, change-over, all sets on all sides and rests; `extra_set_s` is what
    one more set on one side adds. `effects` are (variable index, millionths) for this dose.
    `holds` are (muscle index, seconds of static hold on one side), `extra_holds` with one more
    set.
    """

    sets: int
    reps: int
    hold_s: int
    rest_s: int
    effort: int
    seconds: int
    extra_set_s: int
    effects: tuple[tuple[int, int], ...]
    holds: tuple[tuple[int, int], ...]
    extra_holds: tuple[tuple[int, int], ...]


class DrillOffer(Struct, frozen=True, kw_only=True):
    """A drill as the search sees it: its integer indices, and its doses by level."""

    index: int
    """Position of the drill in id order."""
    drill: str
    ladder: int
    region: int
    pattern: int
    longest_hold_s: Mapping[Level, int]
    full: Mapping[Level, DoseOffer]
    short: Mapping[Level, DoseOffer]
    easier: str | None
    harder: str | None


class Graph(Struct, frozen=True, kw_only=True):
    """The compiled pack. Mappings are read-only and in id order; drafts and retired are out."""

    pack: Pack
    decision: DecisionRecord
    figure: FigureRecord | None
    """The body that pictures show; without it there are none."""
    movements: Mapping[str, MovementRecord]
    findings: Mapping[str, FindingRecord]
    causes: Mapping[str, CauseRecord]
    links: Mapping[str, LinkRecord]
    changes: Mapping[str, ChangeRecord]
    cutoffs: Mapping[str, CutoffRecord]
    measures: Mapping[str, MeasureRecord]
    muscles: Mapping[str, MuscleRecord]
    drills: Mapping[str, DrillRecord]
    ladders: Mapping[str, LadderRecord]
    kit: Mapping[str, KitRecord]
    cautions: Mapping[str, CautionRecord]
    alerts: Mapping[str, AlertRecord]
    postures: Mapping[str, PostureRecord]
    rules: Mapping[str, RuleRecord]
    doses: Mapping[str, DoseRecord]
    sources: Mapping[str, SourceRecord]
    texts: Mapping[str, Mapping[str, str]]
    """language -> code -> template."""

    network: Network
    """Its variables are the live causes in id order, its changes the live changes in id order."""
    variable_of: Mapping[str, int]
    change_of: Mapping[str, int]
    events: tuple[EventKey, ...]
    """In the order of the network's events: sorted by movement, finding, side."""
    event_of: Mapping[tuple[str, str, str], int]
    eyes: Mapping[tuple[str, str, str], EyeNumbers]
    """(movement, finding, view) -> numbers; what is not here cannot be seen from there."""
    link_of: Mapping[tuple[str, str], tuple[str, ...]]
    """(cause, finding) -> ids of the links between them."""
    weights: Mapping[str, tuple[float, ...]]
    """target -> for every event how much it matters, 0 to 1, before the grade."""
    targets: tuple[str, ...]
    """Every live movement, in the order in which a missing target is chosen."""
    offers: tuple[DrillOffer, ...]
    """Live drills in id order."""
    curve: tuple[tuple[int, int], ...]
    """The returns r in millionths."""
