"""What is the same for every drill today: the client, what is wanted, the numbers of the rules.

Apart from the options so that what keeps a drill out can be told without making an option.
"""

from typing import Literal, cast

from service.engine.doors import Doors
from service.engine.shelf import Shelf, shelf_of
from service.model.graph import Graph
from service.model.quantities import Level, Side, TargetId, Verdict
from service.model.records import Frozen
from service.model.screen import Screen


class Closure(Frozen, frozen=True, kw_only=True):
    """Why safety closed a drill: by which caution, for pain or for anything else."""

    reason: Literal["caution", "pain"]
    by: str


class Wanted(Frozen, frozen=True, kw_only=True):
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


class Frame(Frozen, frozen=True, kw_only=True):
    """What is the same for every drill: the client, the wanted, and the numbers of the rules."""

    graph: Graph
    screen: Screen
    wanted: Wanted
    target: TargetId
    level: Level
    shelf: Shelf
    doors: Doors
    weights: tuple[int, ...]
    """Without build, which is accommodated and never trained; last the weight of carry-over."""
    sided: tuple[int, ...]
    """Weights by variable, both sides together; 0 where a cause has no sides."""
    weaker: Side
    """The side that weighs more over the whole session, `none` if neither does."""
    least_lean_percent: int
    kit: frozenset[str]
    avoid: frozenset[str]
    recent: frozenset[str]
    remote: bool
    seconds: int
    hold_s: int
    extra_sets: int


def frame_of(graph: Graph, screen: Screen, wanted: Wanted) -> Frame:
    """Return the frame of today; the pack has one rule of each kind."""
    target = cast(TargetId, wanted.target)
    level = screen.client.level
    shelf = shelf_of(graph, target, level)
    weights = [*wanted.weights, shelf.carry_weight]
    for variable in shelf.build:
        weights[variable] = 0
    sided = [w * n for w, n in zip(wanted.weights, shelf.sided, strict=True)]
    weaker = shelf.rules["weaker_side_first"].numbers
    least_lean_percent = weaker["least_lean_percent"]
    return Frame(
        graph=graph,
        screen=screen,
        wanted=wanted,
        target=target,
        level=level,
        shelf=shelf,
        doors=shelf.practising if wanted.verdict == "practise" else shelf.training,
        weights=tuple(weights),
        sided=tuple(sided),
        weaker=heavier_side(sum(wanted.lean), sum(sided), least_lean_percent),
        least_lean_percent=least_lean_percent,
        kit=frozenset(screen.kit),
        avoid=frozenset(screen.avoid),
        recent=frozenset(screen.recent),
        remote=screen.setting == "remote",
        seconds=60 * screen.minutes,
        hold_s=shelf.rules["static_hold_limit"].numbers["most_s"],
        extra_sets=weaker["extra_sets"],
    )


def heavier_side(balance: int, both: int, least_percent: int) -> Side:
    """Return the side that weighs more: left minus right beyond so many per cent of both."""
    if 100 * abs(balance) <= least_percent * both:
        return "none"
    return "left" if balance > 0 else "right"
