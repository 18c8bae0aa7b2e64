"""The decision without its words: what was read, weighed and chosen.

Apart from the plan because everything that asks "what if" decides many times and speaks once.
"""

from collections.abc import Callable

from service.engine.choose import best_of
from service.engine.exchange import returns
from service.engine.infer import infer
from service.engine.options import Laid, Wanted, lay
from service.engine.read import Reading, read
from service.engine.safety import Safety, judge
from service.engine.weigh import Weighing, weigh
from service.model.choice import Choice
from service.model.graph import Graph
from service.model.network import Evidence, Network, Posterior
from service.model.quantities import MICRO, Verdict
from service.model.records import Frozen
from service.model.screen import Screen

Inference = Callable[[Network, Evidence], Posterior]


class Weighed(Frozen, frozen=True, kw_only=True):
    """What is likely, what matters, and what today would hold. `laid` and `choice` may be None."""

    posterior: Posterior
    weighing: Weighing
    laid: Laid | None
    choice: Choice | None


class Decided(Frozen, frozen=True, kw_only=True):
    """One decision; `weighed` is None where it refers."""

    screen: Screen
    reading: Reading
    safety: Safety
    weighed: Weighed | None

    @property
    def verdict(self) -> Verdict:
        """The verdict of the answer."""
        return self.weighed.weighing.verdict if self.weighed else "refer"

    @property
    def value(self) -> int:
        """The value of today's session in millionths, 0 without one."""
        choice = self.weighed.choice if self.weighed else None
        return choice.value if choice else 0


def decide(screen: Screen, graph: Graph, infer_with: Inference = infer) -> Decided:
    """Return the decision on a screen; `infer_with` may know more than the screen says."""
    reading = read(screen, graph)
    safety = judge(screen, reading.target, graph)
    if safety.refer:
        return Decided(screen=screen, reading=reading, safety=safety, weighed=None)
    posterior = infer_with(graph.network, reading.evidence)
    weighing = weigh(reading, posterior, graph)
    laid, choice = _choose(screen, reading, safety, weighing, graph)
    weighed = Weighed(posterior=posterior, weighing=weighing, laid=laid, choice=choice)
    return Decided(screen=screen, reading=reading, safety=safety, weighed=weighed)


def _choose(
    screen: Screen, reading: Reading, safety: Safety, weighing: Weighing, graph: Graph
) -> tuple[Laid | None, Choice | None]:
    """Return today's options and the best of them; nothing where nothing weighs."""
    if reading.target is None or weighing.verdict == "nothing_found":
        return None, None
    laid = lay(graph, screen, safety.closed, wanted_of(reading.target, weighing))
    if not any(weighing.by_cause):
        return laid, Choice(chosen=(), value=0, seconds=0)
    return laid, best_of(laid.table)


def wanted_of(target: str, weighing: Weighing) -> Wanted:
    """Return what today is for."""
    return Wanted(
        target=target,
        verdict=weighing.verdict,
        weights=weighing.by_cause,
        lean=weighing.lean,
        worked=weighing.worked,
        failed=weighing.failed,
    )


def first_drill(decided: Decided) -> str | None:
    """Return the drill of the first step, None without a session."""
    weighed = decided.weighed
    if weighed is None or weighed.laid is None or weighed.choice is None:
        return None
    chosen = weighed.choice.chosen
    return weighed.laid.held[chosen[0]].row.drill.id if chosen else None


def worth_of(decided: Decided, other: Decided, graph: Graph) -> int:
    """Return what the session of `decided` is worth if `other` is what holds, in millionths.

    The same drills in the same doses, valued by the other's weights; 0 without a session or
    where the other has no weights.
    """
    held = decided.weighed
    then = other.weighed
    if held is None or held.laid is None or held.choice is None or not held.choice.chosen:
        return 0
    if then is None or then.laid is None:
        return 0
    problem = then.laid.problem
    sums = [0] * len(problem.weights)
    for n in held.choice.chosen:
        for at, effect in held.laid.problem.options[n].effects:
            sums[at] += effect
    return problem_value(problem.weights, graph.curve, sums) - problem.price * len(
        held.choice.chosen
    )


def problem_value(
    weights: tuple[int, ...], curve: tuple[tuple[int, int], ...], sums: list[int]
) -> int:
    """Return the summed parts of what is addressed, before the price of steps."""
    pairs = zip(weights, sums, strict=True)
    return sum([w * returns(curve, e) // MICRO for w, e in pairs if w > 0 and e > 0])


def decide_again(decided: Decided, screen: Screen, graph: Graph) -> Decided:
    """Return the decision on a screen that says the same of the body, but not of the room.

    Minutes, kit and level do not change what is likely, so it is not worked out again.
    """
    weighed = decided.weighed
    reading = decided.reading
    safety = judge(screen, reading.target, graph)
    if weighed is None or safety.refer:
        return decide(screen, graph)
    laid, choice = _choose(screen, reading, safety, weighed.weighing, graph)
    again = Weighed(
        posterior=weighed.posterior, weighing=weighed.weighing, laid=laid, choice=choice
    )
    return Decided(screen=screen, reading=reading, safety=safety, weighed=again)
