"""What is the same for every drill today: the client, what is wanted, the numbers of the rules.

Apart from the options so that what keeps a drill out can be told without making an option.
"""

from typing import Literal, cast

from service.engine.shelf import shelf_of
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


class Frame:
    """What is the same for every drill: the client, the wanted, and the numbers of the rules."""

    def __init__(self, graph: Graph, screen: Screen, wanted: Wanted) -> None:
        target = cast(TargetId, wanted.target)
        level: Level = screen.client.level
        shelf = shelf_of(graph, target, level)
        whole, lean = wanted.weights, wanted.lean
        weights = [*whole, shelf.carry_weight]
        for variable in shelf.build:
            weights[variable] = 0
        sided = [0] * len(whole)
        both = 0
        for variable in shelf.sided:
            weight = whole[variable]
            if weight:
                sided[variable] = weight
                both += weight
        balance = 0
        for one in lean:
            balance += one
        self.graph = graph
        self.screen = screen
        self.wanted = wanted
        self.target = target
        self.level = level
        self.shelf = shelf
        self.doors = shelf.practising if wanted.verdict == "practise" else shelf.training
        self.weights = tuple(weights)
        """Without build, which is accommodated and never trained; last the weight of carry-over."""
        self.lean = lean
        self.sided = sided
        """Weights by variable, both sides together; 0 where a cause has no sides."""
        self.least_lean_percent = shelf.least_lean_percent
        self.weaker = heavier_side(balance, both, self.least_lean_percent)
        """The side that weighs more over the whole session, `none` if neither does."""
        self.kit = frozenset(screen.kit)
        self.avoid = frozenset(screen.avoid)
        self.recent = frozenset(screen.recent)
        self.remote = screen.setting == "remote"
        self.seconds = 60 * screen.minutes
        self.hold_s = shelf.hold_s
        self.extra_sets = shelf.extra_sets


def frame_of(graph: Graph, screen: Screen, wanted: Wanted) -> Frame:
    """Return the frame of today; the pack has one rule of each kind."""
    return Frame(graph, screen, wanted)


def heavier_side(balance: int, both: int, least_percent: int) -> Side:
    """Return the side that weighs more: left minus right beyond so many per cent of both."""
    if 100 * abs(balance) <= least_percent * both:
        return "none"
    return "left" if balance > 0 else "right"
