"""The order in which inference sums causes out, found once for a pack.

Apart from the compiler's other steps because it is a graph algorithm: minimum fill-in is too
slow for the request path, so what it finds is frozen with the pack.
"""

from collections.abc import Sequence

import networkx as nx

from service.model.network import Event, Variable


def elimination_order(variables: Sequence[Variable], events: Sequence[Event]) -> tuple[int, ...]:
    """Return a permutation of the variables in which summing out keeps tables small.

    Minimum fill-in on the graph that joins all parents of an event (Kjaerulff 1990), ties by
    fewest neighbours, then by index. Causes of no event come first. The engine looks for the
    smallest table anew for each screen, and breaks its ties by this order.
    """
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(variables)))
    for event in events:
        parents = sorted({p.variable for p in event.parents})
        graph.add_edges_from((a, b) for n, a in enumerate(parents) for b in parents[n + 1 :])
    near = {node: set(graph[node]) for node in graph}
    order: list[int] = []
    while near:
        node = min(near, key=lambda n: (_fill_in(near, n), len(near[n]), n))
        around = near.pop(node)
        for one in around:
            near[one] = (near[one] | around) - {one, node}
        order.append(node)
    return tuple(order)


def _fill_in(near: dict[int, set[int]], node: int) -> int:
    """Return how many pairs of neighbours are not joined yet."""
    around = near[node]
    # a neighbour is no neighbour of its own
    return sum(len(around - near[one]) - 1 for one in around) // 2
