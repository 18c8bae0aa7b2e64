"""What is the same for every client of one level who trains for one target, worked out once.

Apart from the frame because nothing here depends on the screen: it is kept for the pack, so that
a plan only multiplies and compares.
"""

from collections.abc import Mapping
from typing import TypeAlias, get_args

from service.engine.doors import KIT_OF, Doors, Kit, doors_of
from service.engine.exchange import returns
from service.engine.kept import Keeper
from service.engine.rows import Row, ends, rows_of
from service.model.graph import Graph
from service.model.knowledge import RuleRecord
from service.model.quantities import MICRO, Aim, Level, TargetId
from service.model.records import Frozen

Worths: TypeAlias = tuple[tuple[tuple[int, int], ...], ...]
"""(row, millionths) of what there is."""

FROM = "from_"
"""Numbers of the step limit are named by the minutes they hold from: `from_10`."""


class Shelf(Frozen, frozen=True, kw_only=True):
    """All live drills, in the order of the pack's offers, and the numbers of the rules."""

    rows: tuple[Row, ...]
    training: Doors
    practising: Doors
    """Where practice is all that is called for."""
    number: Mapping[str, int]
    """Row of each drill."""
    patterned: tuple[bool, ...]
    """By row if it is of a pattern: such drills enter whatever they serve."""
    worths: Worths
    """Returns of the full dose by variable, the last being the carry-over."""
    enough: tuple[int, ...]
    """By row the worth from which it may earn its step, whatever rounding hides."""
    sure_s: tuple[int, ...]
    """By row the seconds within which its last dose surely fits."""
    kit: Kit
    in_room: frozenset[str]
    """Drills that cannot be taught at a distance."""
    rules: dict[str, RuleRecord]
    """By kind."""
    build: tuple[int, ...]
    skill: tuple[int, ...]
    """Variables of those modes."""
    sided: tuple[int, ...]
    """Variables that have sides."""
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
    new_drills: int
    """Most new ones of a session."""
    range_drills: tuple[int, int, int]
    """Most of a session, most of a longer one, and the minutes from which it is longer."""
    hold_s: int
    extra_sets: int
    least_lean_percent: int
    least_skill: int
    """Millionths of the weight from which lacking skill calls for practice."""


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


def _made(graph: Graph, target: TargetId, level: Level) -> Shelf:
    rules: dict[str, RuleRecord] = {rule.kind: rule for rule in graph.rules.values()}
    modes = [cause.mode for cause in graph.causes.values()]
    pairs = list(zip(graph.offers, graph.drills.values(), strict=True))
    steps, ranges = rules["step_limit"].numbers, rules["range_limit"].numbers
    weaker = rules["weaker_side_first"].numbers
    rows = rows_of(graph, rules, target, level)
    price = round(graph.decision.price * MICRO)
    # few numbers, each one object: what a plan reads lies close together
    enough = {hidden: price - hidden for hidden in {row.doses.hidden for row in rows}}
    carried = tuple([(n, row.doses.carried) for n, row in enumerate(rows) if row.doses.carried])
    return Shelf(
        rows=tuple(rows),
        training=doors_of(rows, [row.rule_training for row in rows]),
        practising=doors_of(rows, [row.rule_practising for row in rows]),
        number={drill.id: n for n, (_, drill) in enumerate(pairs)},
        patterned=tuple([row.patterned for row in rows]),
        worths=(*_worths(graph, level), carried),
        enough=tuple([enough[row.doses.hidden] for row in rows]),
        sure_s=tuple([row.doses.sure_s for row in rows]),
        kit=KIT_OF.of(graph),
        in_room=frozenset([d.id for _, d in pairs if not d.remote]),
        rules=rules,
        build=tuple([v for v, mode in enumerate(modes) if mode == "build"]),
        skill=tuple([v for v, mode in enumerate(modes) if mode == "skill"]),
        sided=tuple([n for n, v in enumerate(graph.network.variables) if v.sided]),
        plain={
            aim: tuple([row for row in rows if row.plain and row.drill.aim == aim])
            for aim in get_args(Aim)
        },
        ends_in=frozenset([p.pattern for p, d in pairs if ends(d, target)]),
        target=next((p.pattern for p, d in pairs if d.pattern == target), -1),
        price=price,
        carry_weight=round(graph.decision.carry_weight * MICRO),
        steps=tuple([(int(name.removeprefix(FROM)), most) for name, most in steps.items()]),
        new_drills=rules["new_drill_limit"].numbers["most"],
        range_drills=(ranges["most"], ranges["most_later"], ranges["later_from_minutes"]),
        hold_s=rules["static_hold_limit"].numbers["most_s"],
        extra_sets=weaker["extra_sets"],
        least_lean_percent=weaker["least_lean_percent"],
        least_skill=rules["practice_step"].numbers["least_percent"] * MICRO // 100,
    )


def _worths(graph: Graph, level: Level) -> Worths:
    """Return what the full doses of a level serve but for carry-over, made once for the pack."""
    known = _WORTHS.of(graph)
    if level not in known:
        found: list[list[tuple[int, int]]] = [[] for _ in graph.causes]
        for n, place in enumerate(graph.offers):
            for at, effect in place.full[level].effects:
                found[at].append((n, returns(graph.curve, effect)))
        known[level] = tuple([tuple(one) for one in found])
    return known[level]


def _no_worths(_graph: Graph) -> dict[Level, Worths]:
    return {}


_WORTHS = Keeper(_no_worths)
