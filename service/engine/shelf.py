"""What is the same for every client of one level who trains for one target, worked out once.

Apart from the frame because nothing here depends on the screen: it is kept for the pack, so that
a plan only multiplies and compares.
"""

from collections.abc import Mapping
from typing import get_args

from msgspec import Struct

from service.engine.exchange import returns
from service.engine.kept import Keeper
from service.model.graph import DoseOffer, DrillOffer, Graph
from service.model.knowledge import DrillRecord, RuleRecord
from service.model.quantities import MICRO, Aim, LeftOutReason, Level, TargetId

RANKS: Mapping[Level, int] = {"new": 0, "regular": 1, "advanced": 2}
MOST_HIDDEN = 3
"""Half of what rounding hides at most on one cause: a weight is at most the whole."""
FROM = "from_"
"""Numbers of the step limit are named by the minutes they hold from: `from_10`."""


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


class Fitting(Struct, frozen=True, gc=False):
    """A dose with its seconds and holds, extra sets counted or not."""

    portion: Portion
    seconds: int
    holds: tuple[tuple[int, int], ...]


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
    each_side: bool
    by_session: bool
    """Leans as the whole session does, and not as what it serves."""
    served: tuple[int, ...]
    """Variables that the drill trains."""
    fitting: tuple[tuple["Fitting", ...], tuple["Fitting", ...]]
    """Its doses that keep the limit of holds, full before short; without and with extra sets."""
    hidden: int
    """What rounding hides at most of its worth."""
    sure_s: int
    """Seconds within which its last dose fits, extra sets included; 0 where holds may forbid it."""
    rule_training: str
    """Kind of the rule that keeps it out whatever helped, empty if none does."""
    rule_practising: str
    """The same where practice is all that is called for."""
    plain: bool
    """Can be a demand: no helper, no kit, not too hard, and a session may end in it."""


class Doors(Struct, frozen=True, kw_only=True):
    """The rows as one kind of verdict sees them: what is known of each before the screen is.

    Numbers of rows, ascending.
    """

    open: tuple[int, ...]
    """Those that nothing keeps out beforehand."""
    patterned: frozenset[int]
    """Of these, those of a pattern, which enter whatever they serve."""
    asking: frozenset[int]
    """Of these, those that need kit, or a helper that must have helped: today decides."""
    shut: Mapping[int, tuple[LeftOutReason, str]]
    """Why a row is kept out of every session, unless something that comes first does."""
    shut_by: Mapping[LeftOutReason, tuple[int, ...]]
    """The same by reason."""


class Shelf(Struct, frozen=True, kw_only=True):
    """All live drills, in the order of the pack's offers, and the numbers of the rules."""

    rows: tuple[Row, ...]
    training: Doors
    practising: Doors
    """Where practice is all that is called for."""
    number: Mapping[str, int]
    """Row of each drill."""
    worths: tuple[tuple[tuple[int, int], ...], ...]
    """By variable, and last by carry-over: (row, returns of its full dose there)."""
    in_room: frozenset[str]
    """Drills that cannot be taught at a distance."""
    rules: dict[str, RuleRecord]
    """By kind."""
    build: tuple[int, ...]
    skill: tuple[int, ...]
    """Variables of those modes."""
    sided: tuple[int, ...]
    """1 where a variable has sides, else 0."""
    plain: Mapping[Aim, tuple[Row, ...]]
    """By aim the rows that can be a demand."""
    ends_in: frozenset[int]
    """Patterns in which a session for the target may end."""
    target: int
    """The target's number among the patterns, -1 where it has no drill."""
    price: int
    carry_weight: int
    steps: tuple[tuple[int, int], ...]
    """(minutes from which, most steps)."""


def shelf_of(graph: Graph, target: TargetId, level: Level) -> Shelf:
    """Return the shelf of a pack for one level and target, made once."""
    shelves = _SHELVES.of(graph)
    shelf = shelves.get((target, level))
    if shelf is None:
        shelf = shelves[target, level] = _made(graph, target, level)
    return shelf


def _no_shelves(_graph: Graph) -> dict[tuple[TargetId, Level], Shelf]:
    return {}


_SHELVES = Keeper(_no_shelves)


def _no_rows(_graph: Graph) -> dict[tuple[str, Level], Row]:
    return {}


_SAME = Keeper(_no_rows)


def ends(drill: DrillRecord, target: TargetId) -> bool:
    """Say if a session for the target may end in this drill."""
    return drill.pattern is not None and drill.carries_to.get(target, 0.0) > 0


def _made(graph: Graph, target: TargetId, level: Level) -> Shelf:
    rules: dict[str, RuleRecord] = {rule.kind: rule for rule in graph.rules.values()}
    modes = [cause.mode for cause in graph.causes.values()]
    pairs = list(zip(graph.offers, graph.drills.values(), strict=True))
    steps = rules["step_limit"].numbers
    rows = _rows(graph, rules, target, level)
    return Shelf(
        rows=tuple(rows),
        training=_doors(rows, rules, [row.rule_training for row in rows]),
        practising=_doors(rows, rules, [row.rule_practising for row in rows]),
        number={drill.id: n for n, (_, drill) in enumerate(pairs)},
        worths=_worths(rows, len(modes) + 1),
        in_room=frozenset([d.id for _, d in pairs if not d.remote]),
        rules=rules,
        build=tuple([v for v, mode in enumerate(modes) if mode == "build"]),
        skill=tuple([v for v, mode in enumerate(modes) if mode == "skill"]),
        sided=tuple([int(v.sided) for v in graph.network.variables]),
        plain={
            aim: tuple([row for row in rows if row.plain and row.drill.aim == aim])
            for aim in get_args(Aim)
        },
        ends_in=frozenset([p.pattern for p, d in pairs if ends(d, target)]),
        target=next((p.pattern for p, d in pairs if d.pattern == target), -1),
        price=round(graph.decision.price * MICRO),
        carry_weight=round(graph.decision.carry_weight * MICRO),
        steps=tuple([(int(name.removeprefix(FROM)), most) for name, most in steps.items()]),
    )


def _rows(
    graph: Graph, rules: Mapping[str, RuleRecord], target: TargetId, level: Level
) -> list[Row]:
    """Return a row for each drill; those to which the target is nothing are made once a level."""
    build = frozenset([c.id for c in graph.causes.values() if c.mode == "build"])
    practised = _practised(graph, target)
    same = _SAME.of(graph)
    rows = []
    for place, drill in zip(graph.offers, graph.drills.values(), strict=True):
        alone = drill.pattern is None and not drill.carries_to.get(target)
        row = same.get((drill.id, level)) if alone else None
        if row is None:
            row = _row(graph, rules, place, drill, target, level, build, practised)
            if alone:
                same[drill.id, level] = row
        rows.append(row)
    return rows


def _row(
    graph: Graph,
    rules: Mapping[str, RuleRecord],
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
    extra_sets = rules["weaker_side_first"].numbers["extra_sets"]
    hold_s = rules["static_hold_limit"].numbers["most_s"]
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
        each_side=drill.each_side,
        by_session=drill.aim in ("transfer", "practice"),
        served=tuple([graph.variable_of[served.cause] for served in drill.trains]),
        fitting=(_fitting(portions, 0, hold_s), _fitting(portions, extra_sets, hold_s)),
        hidden=2 * MOST_HIDDEN * max([len(one.parts) for one in portions]),
        sure_s=_sure_s(portions, extra_sets, hold_s),
        rule_training=training,
        rule_practising=training if practice else "practice_only",
        plain=drill.helper is None and () in drill.kit and not too_hard and ends(drill, target),
    )


def _fitting(portions: list[Portion], extra_sets: int, hold_s: int) -> tuple[Fitting, ...]:
    found = []
    for one in portions:
        holds = one.dose.extra_holds if extra_sets else one.dose.holds
        if max([held for _, held in holds], default=0) <= hold_s:
            found.append(Fitting(one, one.dose.seconds + extra_sets * one.dose.extra_set_s, holds))
    return tuple(found)


def _sure_s(portions: list[Portion], extra_sets: int, hold_s: int) -> int:
    """Return the seconds of the last dose with extra sets, 0 where holds may forbid a dose."""
    if any(held > hold_s for one in portions for _, held in one.dose.extra_holds):
        return 0
    dose = portions[-1].dose
    return dose.seconds + extra_sets * dose.extra_set_s


def _doors(rows: list[Row], rules: Mapping[str, RuleRecord], kinds: list[str]) -> Doors:
    """Return what can be told beforehand, by level and rule; kit is asked for before any rule."""
    shut: dict[int, tuple[LeftOutReason, str]] = {}
    for n, (row, kind) in enumerate(zip(rows, kinds, strict=True)):
        if row.too_hard:
            shut[n] = ("level", row.drill.level)
        elif kind and not row.needs_kit:
            shut[n] = ("rule", rules[kind].id)
    free = tuple([n for n in range(len(rows)) if n not in shut])
    return Doors(
        open=free,
        patterned=frozenset([n for n in free if rows[n].place.pattern >= 0]),
        asking=frozenset([n for n in free if _asks(rows[n])]),
        shut=shut,
        shut_by={
            reason: tuple([n for n, (other, _) in shut.items() if other == reason])
            for reason in sorted({reason for reason, _ in shut.values()})
        },
    )


def _asks(row: Row) -> bool:
    return row.needs_kit or (row.drill.aim == "practice" and row.drill.helper is not None)


def _worths(rows: list[Row], count: int) -> tuple[tuple[tuple[int, int], ...], ...]:
    found: list[list[tuple[int, int]]] = [[] for _ in range(count)]
    for n, row in enumerate(rows):
        for at, part in row.portions[0].parts:
            if part:
                found[at].append((n, part))
    return tuple([tuple(one) for one in found])


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
