"""What is the same for every client of one level who trains for one target, worked out once.

Apart from the frame because nothing here depends on the screen: it is kept for the pack, so that
a plan only multiplies and compares.
"""

from collections.abc import Mapping

from msgspec import Struct

from service.engine.exchange import returns
from service.model.graph import DoseOffer, DrillOffer, Graph
from service.model.knowledge import DrillRecord, RuleRecord
from service.model.quantities import MICRO, LeftOutReason, Level, TargetId

RANKS: Mapping[Level, int] = {"new": 0, "regular": 1, "advanced": 2}
FROM = "from_"
"""Numbers of the step limit are named by the minutes they hold from: `from_10`."""

_kept: list[tuple[Graph, dict[tuple[TargetId, Level], "Shelf"]]] = []
_KEPT_AT_MOST = 4
"""Packs whose shelves are kept; a process serves one."""


class Barred(Struct, frozen=True, kw_only=True, gc=False):
    """A drill that is no option, with the first reason that holds.

    `detail` is an id or ids joined by ", ": the caution, the missing kit, the level it asks for,
    the rule, the seconds of its shortest dose, or (`outscored`) the drill that always does as
    well, empty where it would not even earn the price of a step. `worth` is what its full dose
    would add alone, in millionths, without the price of a step.
    """

    drill: str
    reason: LeftOutReason
    detail: str
    worth: int


class Portion(Struct, frozen=True, kw_only=True):
    """One dose of a drill with what it serves, carry-over into the target being one entry more.

    `parts` are (index, returns of the effect) in the order of `effects`, in millionths.
    """

    dose: DoseOffer
    short: bool
    effects: tuple[tuple[int, int], ...]
    parts: tuple[tuple[int, int], ...]


class Row(Struct, frozen=True, kw_only=True):
    """A drill as it stands for this level and target, whoever the client is."""

    place: DrillOffer
    drill: DrillRecord
    portions: tuple[Portion, ...]
    """The full dose, then the short one where there is one."""
    too_hard: bool
    needs_kit: bool
    ways: tuple[frozenset[str], ...]
    only_kit: str
    """The one thing it needs, where that is all; else empty."""
    served: tuple[int, ...]
    """Variables that the drill trains."""
    rule_training: str
    """Kind of the rule that keeps it out whatever helped, empty if none does."""
    rule_practising: str
    """The same where practice is all that is called for."""
    plain: bool
    """Can be a demand: no helper, no kit, not too hard, and a session may end in it."""


class View(Struct, frozen=True, kw_only=True, gc=False):
    """A row as one kind of verdict sees it: what is known of it before the screen is."""

    row: Row
    drill: str
    parts: tuple[tuple[int, int], ...]
    """Of the full dose."""
    patterned: bool
    ready: Barred | None
    """Why it is kept out of every session, unless something that comes first does; worth 0."""
    asks: bool
    """Needs kit, or a helper that must have helped: today decides."""
    idle: Barred
    """For where it serves nothing that was found."""


class Shelf(Struct, frozen=True, kw_only=True):
    """All live drills, in the order of the pack's offers, and the numbers of the rules."""

    rows: tuple[Row, ...]
    training: tuple[View, ...]
    practising: tuple[View, ...]
    """The rows again, where practice is all that is called for."""
    in_room: frozenset[str]
    """Drills that cannot be taught at a distance."""
    rules: dict[str, RuleRecord]
    """By kind."""
    build: tuple[int, ...]
    skill: tuple[int, ...]
    """Variables of those modes."""
    sided: tuple[int, ...]
    """1 where a variable has sides, else 0."""
    ends_in: frozenset[int]
    """Patterns in which a session for the target may end."""
    target: int
    """The target's number among the patterns, -1 where it has no drill."""
    price: int
    carry_weight: int
    steps: tuple[tuple[int, int], ...]
    """(minutes from which, most steps)."""


def shelf_of(graph: Graph, target: TargetId, level: Level) -> Shelf:
    """Return the shelf of a pack; found again by the pack's identity, since packs are frozen."""
    shelves = next((held for known, held in _kept if known is graph), None)
    if shelves is None:
        shelves = {}
        _kept.append((graph, shelves))
        del _kept[:-_KEPT_AT_MOST]
    shelf = shelves.get((target, level))
    if shelf is None:
        shelf = shelves[target, level] = _made(graph, target, level)
    return shelf


def ends(drill: DrillRecord, target: TargetId) -> bool:
    """Say if a session for the target may end in this drill."""
    return drill.pattern is not None and drill.carries_to.get(target, 0.0) > 0


def _made(graph: Graph, target: TargetId, level: Level) -> Shelf:
    rules: dict[str, RuleRecord] = {rule.kind: rule for rule in graph.rules.values()}
    modes = [cause.mode for cause in graph.causes.values()]
    build = frozenset([c.id for c in graph.causes.values() if c.mode == "build"])
    practised = _practised(graph, target)
    pairs = list(zip(graph.offers, graph.drills.values(), strict=True))
    steps = rules["step_limit"].numbers
    rows = tuple([_row(graph, p, d, target, level, build, practised) for p, d in pairs])
    return Shelf(
        rows=rows,
        training=tuple([_view(row, rules, row.rule_training) for row in rows]),
        practising=tuple([_view(row, rules, row.rule_practising) for row in rows]),
        in_room=frozenset([d.id for _, d in pairs if not d.remote]),
        rules=rules,
        build=tuple([v for v, mode in enumerate(modes) if mode == "build"]),
        skill=tuple([v for v, mode in enumerate(modes) if mode == "skill"]),
        sided=tuple([int(v.sided) for v in graph.network.variables]),
        ends_in=frozenset([p.pattern for p, d in pairs if ends(d, target)]),
        target=next((p.pattern for p, d in pairs if d.pattern == target), -1),
        price=round(graph.decision.price * MICRO),
        carry_weight=round(graph.decision.carry_weight * MICRO),
        steps=tuple([(int(name.removeprefix(FROM)), most) for name, most in steps.items()]),
    )


def _row(
    graph: Graph,
    place: DrillOffer,
    drill: DrillRecord,
    target: TargetId,
    level: Level,
    build: frozenset[str],
    practised: frozenset[str | None],
) -> Row:
    record = graph.doses[drill.dose]
    part = {"new": record.new, "regular": record.regular, "advanced": record.advanced}[level]
    portions = [_portion(graph, drill, place.full[level], target, 1.0, short=False)]
    if level in place.short:
        short = place.short[level]
        portions.append(_portion(graph, drill, short, target, part.short_effect, short=True))
    too_hard = RANKS[drill.level] > RANKS[level]
    training = _against_rule(drill, target, build)
    practice = drill.aim == "practice" and drill.pattern in practised
    return Row(
        place=place,
        drill=drill,
        portions=tuple(portions),
        too_hard=too_hard,
        needs_kit=bool(drill.kit[0]),
        ways=tuple([frozenset(way) for way in drill.kit]),
        only_kit=drill.kit[0][0] if len(drill.kit) == len(drill.kit[0]) == 1 else "",
        served=tuple([graph.variable_of[served.cause] for served in drill.trains]),
        rule_training=training,
        rule_practising=training if practice else "practice_only",
        plain=drill.helper is None and () in drill.kit and not too_hard and ends(drill, target),
    )


def _view(row: Row, rules: Mapping[str, RuleRecord], kind: str) -> View:
    """Return the row with the reason that can be told beforehand: level, then rule after kit."""
    drill = row.drill
    ready = None
    if row.too_hard:
        ready = Barred(drill=drill.id, reason="level", detail=drill.level, worth=0)
    elif kind and not row.needs_kit:
        ready = Barred(drill=drill.id, reason="rule", detail=rules[kind].id, worth=0)
    return View(
        row=row,
        drill=drill.id,
        parts=row.portions[0].parts,
        patterned=row.place.pattern >= 0,
        ready=ready,
        asks=row.needs_kit or (drill.aim == "practice" and drill.helper is not None),
        idle=Barred(drill=drill.id, reason="outscored", detail="", worth=0),
    )


def _portion(
    graph: Graph,
    drill: DrillRecord,
    dose: DoseOffer,
    target: TargetId,
    part: float,
    *,
    short: bool,
) -> Portion:
    effects = list(dose.effects)
    carry = round(drill.carries_to.get(target, 0.0) * part * MICRO)
    if carry:
        effects.append((len(graph.causes), carry))
    return Portion(
        dose=dose,
        short=short,
        effects=tuple(effects),
        parts=tuple([(i, returns(graph.curve, effect)) for i, effect in effects]),
    )


def _against_rule(drill: DrillRecord, target: TargetId, build: frozenset[str]) -> str:
    """Return the kind of the rule that keeps the drill out, whatever was tried.

    Practice of no pattern, such as of breathing, is no movement: it enters for what it serves.
    """
    if drill.pattern is None:
        if build.issuperset([served.cause for served in drill.trains]):
            return "build_not_trained"
    elif drill.pattern != target and not ends(drill, target):
        return "ends_in_pattern"
    return ""


def _practised(graph: Graph, target: TargetId) -> frozenset[str | None]:
    """Return the patterns whose practice is practice of the target; None is of no pattern.

    Its own, and those that carry over: what is missing may be the movement that was watched.
    """
    drills = [drill for drill in graph.drills.values() if drill.aim == "practice"]
    return frozenset([None, target, *(d.pattern for d in drills if ends(d, target))])
