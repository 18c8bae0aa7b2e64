"""What is the same for every drill today: the client, what is wanted, the numbers of the rules.

Apart from the options so that what keeps a drill out can be told without making an option.
"""

from collections.abc import Mapping
from typing import Literal, cast

from msgspec import Struct

from service.model.graph import Graph
from service.model.knowledge import DrillRecord, RuleRecord
from service.model.quantities import MICRO, Level, TargetId, Verdict
from service.model.screen import Screen

RANKS: Mapping[Level, int] = {"new": 0, "regular": 1, "advanced": 2}


class Closure(Struct, frozen=True, kw_only=True):
    """Why safety closed a drill: by which caution, for pain or for anything else."""

    reason: Literal["caution", "pain"]
    by: str


class Wanted(Struct, frozen=True, kw_only=True):
    """What today is for: the target, the verdict, and how much each cause matters.

    `weights` and `lean` are by variable in millionths: summed over sides, and left minus right.
    `worked` and `failed` are the changes that helped, and those that were tried and did not.
    """

    target: str
    verdict: Verdict
    weights: tuple[int, ...]
    lean: tuple[int, ...]
    worked: frozenset[str]
    failed: frozenset[str]


class Frame(Struct, frozen=True, kw_only=True):
    """What is the same for every drill: the client, the wanted, and the numbers of the rules."""

    graph: Graph
    screen: Screen
    wanted: Wanted
    target: TargetId
    weights: tuple[int, ...]
    """Without build, which is accommodated and never trained."""
    loss: tuple[int, ...]
    """What rounding may hide of the value on each cause, in millionths."""
    price: int
    balance: int
    """Left minus right over all causes."""
    kit: frozenset[str]
    avoid: frozenset[str]
    recent: frozenset[str]
    level: Level
    rank: int
    rules: Mapping[str, RuleRecord]
    """By kind."""
    build: frozenset[str]
    """Causes that no drill answers to."""
    practised: frozenset[str | None]
    """Patterns whose practice counts as practice of the target; None is of no pattern."""
    seconds: int
    hold_s: int
    extra_sets: int


def frame_of(graph: Graph, screen: Screen, wanted: Wanted) -> Frame:
    """Return the frame of today; the pack has one rule of each kind."""
    rules: dict[str, RuleRecord] = {rule.kind: rule for rule in graph.rules.values()}
    modes = [cause.mode for cause in graph.causes.values()]
    target = cast(TargetId, wanted.target)
    level = screen.client.level
    return Frame(
        graph=graph,
        screen=screen,
        wanted=wanted,
        target=target,
        weights=tuple(
            [
                0 if mode == "build" else weight
                for weight, mode in zip(wanted.weights, modes, strict=True)
            ]
        ),
        loss=tuple([2 * (weight // MICRO + 2) for weight in wanted.weights]),
        price=round(graph.decision.price * MICRO),
        balance=sum(wanted.lean),
        kit=frozenset(screen.kit),
        avoid=frozenset(screen.avoid),
        recent=frozenset(screen.recent),
        level=level,
        rank=RANKS[level],
        rules=rules,
        build=frozenset([c.id for c in graph.causes.values() if c.mode == "build"]),
        practised=_practised(graph, target),
        seconds=60 * screen.minutes,
        hold_s=rules["static_hold_limit"].numbers["most_s"],
        extra_sets=rules["weaker_side_first"].numbers["extra_sets"],
    )


def _practised(graph: Graph, target: TargetId) -> frozenset[str | None]:
    """Return the patterns whose practice is practice of the target; None is of no pattern.

    Its own pattern if there is practice of it, else those that carry over.
    """
    drills = [drill for drill in graph.drills.values() if drill.aim == "practice"]
    if any(drill.pattern == target for drill in drills):
        return frozenset({target, None})
    return frozenset([None, *(drill.pattern for drill in drills if ends(drill, target))])


def ends(drill: DrillRecord, target: TargetId) -> bool:
    """Say if a session for the target may end in this drill."""
    return drill.pattern is not None and drill.carries_to.get(target, 0.0) > 0
