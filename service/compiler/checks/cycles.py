"""Nothing leads back to itself: rungs, one-leg follow-ups, causes and findings are acyclic."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

import networkx as nx

from service.compiler.draft import Draft, Kind
from service.model.errors import PackFault

CHECK = "cycles"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield one fault for each relation that has a cycle, with the cycle spelled out."""
    rungs = [edge for ladder in draft.live.ladders.values() for edge in pairwise(ladder.rungs)]
    follow = [(m.id, m.on_one_leg) for m in draft.live.movements.values() if m.on_one_leg]
    made = [(link.cause, link.finding) for link in draft.live.links.values()]
    yield from _cycle(draft, "ladders", "rungs", rungs)
    yield from _cycle(draft, "movements", "on_one_leg", follow)
    yield from _cycle(draft, "links", "cause", made)


def _cycle(
    draft: Draft, kind: Kind, field: str, edges: Sequence[tuple[str, str]]
) -> Iterator[PackFault]:
    graph: nx.DiGraph[str] = nx.DiGraph(edges)
    if nx.is_directed_acyclic_graph(graph):
        return
    path = [a for a, _ in nx.find_cycle(graph)]
    yield draft.fault(
        kind,
        path[0] if kind == "movements" else "",
        field,
        check=CHECK,
        wrong=f"goes round in a circle: {' -> '.join([*path, path[0]])}",
        do="take one step of it out",
    )
