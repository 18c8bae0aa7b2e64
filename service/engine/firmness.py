"""How firm the order of causes is: the same evidence weighed again with the links bent against it.

No randomness: two re-runs for each cause, its own links weaker and those of every cause that it
stands before stronger, by one and by two spreads of the pack.
"""

import math

import msgspec

from service.engine.decide import Decided
from service.engine.infer import infer
from service.engine.infer_terms import STRONGEST
from service.engine.weigh import weigh
from service.model.answer import CauseAnswer
from service.model.graph import Graph
from service.model.network import ANY, LEFT, RIGHT, Event, Network, Parent
from service.model.quantities import Firmness

Where = tuple[int, int]
"""A cause on a side: (variable, mask)."""
WEAKEST = 0.02


def with_firmness(
    decided: Decided, causes: tuple[CauseAnswer, ...], graph: Graph
) -> tuple[CauseAnswer, ...]:
    """Return the ranked causes, each with how firmly it stands before those that follow.

    `firm` where it still outweighs each of them at two spreads, `likely` where only at one,
    else `open`. The last has nothing to stand before, and is held against no others: it takes
    the firmness of the one before it, `firm` if it is the only one.
    """
    wheres = [_wheres(cause, graph) for cause in causes]
    said: list[Firmness] = []
    for n in range(len(causes)):
        rivals = wheres[n + 1 :]
        if not rivals:
            said.append(said[-1] if said else "firm")
        elif not _holds(decided, graph, wheres[n], rivals, 1):
            said.append("open")
        else:
            said.append("firm" if _holds(decided, graph, wheres[n], rivals, 2) else "likely")
    pairs = zip(causes, said, strict=True)
    return tuple(msgspec.structs.replace(cause, firmness=one) for cause, one in pairs)


def _wheres(cause: CauseAnswer, graph: Graph) -> frozenset[Where]:
    variable = graph.variable_of[cause.cause]
    masks = {"left": (LEFT,), "right": (RIGHT,), "both": (LEFT, RIGHT), "none": (ANY,)}
    return frozenset((variable, mask) for mask in masks[cause.side])


def _holds(
    decided: Decided,
    graph: Graph,
    own: frozenset[Where],
    rivals: list[frozenset[Where]],
    spreads: int,
) -> bool:
    """Say if the cause outweighs every rival after its links were lowered and theirs raised."""
    by = spreads * graph.decision.link_spread
    raised = frozenset().union(*rivals)
    evidence = decided.reading.evidence
    # no other event has a say
    asked = frozenset([one.event for one in evidence.sightings])
    asked |= frozenset([one.event for one in evidence.absences])
    network = bent(graph.network, own, raised, by, asked)
    posterior = infer(network, evidence, like=graph.network)
    weights = weigh(decided.reading, posterior, graph).by_side
    mine = sum(weights.get(where, 0) for where in own)
    return all(mine >= sum(weights.get(where, 0) for where in rival) for rival in rivals)


def bent(
    network: Network,
    lowered: frozenset[Where],
    raised: frozenset[Where],
    by: float,
    asked: frozenset[int] | None = None,
) -> Network:
    """Return the network with the strengths of some causes moved by log odds, within bounds.

    Only in the events `asked` for, or in all.
    """
    return msgspec.structs.replace(
        network,
        events=tuple(
            _bent_event(event, lowered, raised, by) if asked is None or n in asked else event
            for n, event in enumerate(network.events)
        ),
    )


def _bent_event(
    event: Event, lowered: frozenset[Where], raised: frozenset[Where], by: float
) -> Event:
    parents: list[Parent] = []
    for parent in event.parents:
        where = (parent.variable, parent.mask)
        sign = (where in raised) - (where in lowered)
        if sign:
            odds = math.log(parent.strength / (1 - parent.strength)) + sign * by
            strength = min(STRONGEST, max(WEAKEST, 1 / (1 + math.exp(-odds))))
            parents.append(msgspec.structs.replace(parent, strength=strength))
        else:
            parents.append(parent)
    return msgspec.structs.replace(event, parents=tuple(parents))
