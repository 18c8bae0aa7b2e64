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
    order: list[int] = []
    while graph:
        node = min(graph, key=lambda n: (_fill_in(graph, n), graph.degree(n), n))
        around = sorted(graph[node])
        graph.add_edges_from((a, b) for n, a in enumerate(around) for b in around[n + 1 :])
        graph.remove_node(node)
        order.append(node)
    return tuple(order)


def _fill_in(graph: "nx.Graph[int]", node: int) -> int:
    """Return how many pairs of neighbours are not joined yet."""
    around = list(graph[node])
    return sum(not graph.has_edge(a, b) for n, a in enumerate(around) for b in around[n + 1 :])
