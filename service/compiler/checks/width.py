"""Inference stays affordable: everything wrong in one movement at once fits the work budget.

Apart from the other checks because it needs the network, and so runs last, on a pack without
other faults.
"""

from collections.abc import Iterator

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.graph import Graph
from service.model.network import Network

CHECK = "width"


def check_width(draft: Draft, graph: Graph) -> Iterator[PackFault]:
    """Yield a fault for each movement whose findings, all seen at once, pass the work budget."""
    for movement in graph.movements:
        events = [n for n, key in enumerate(graph.events) if key.movement == movement]
        cells = cells_of(graph.network, events)
        if cells > graph.network.work_budget:
            yield draft.fault(
                "movements",
                movement,
                "",
                check=CHECK,
                wrong=f"needs {cells} cells of inference when everything in it is seen, "
                f"over the budget of {graph.network.work_budget}",
                do="take out weak links of causes that many of its findings share",
            )


def cells_of(network: Network, events: list[int]) -> int:
    """Return the table cells for summing out these positive events and all their causes.

    One two-valued node an event and one a side of a cause; the two sides of one cause are
    joined. Greedy: always the node with the smallest table next.
    """
    near: dict[tuple[str, int], set[tuple[str, int]]] = {}
    for event in events:
        for parent in network.events[event].parents:
            side = ("cause", 2 * parent.variable + (parent.mask >> 1))
            near.setdefault(("event", event), set()).add(side)
            near.setdefault(side, set()).add(("event", event))
    for node in list(near):
        twin = (node[0], node[1] ^ 1)
        if node[0] == "cause" and twin in near:
            near[node].add(twin)
    cells = 0
    while near:
        node = min(near, key=lambda n: (len(near[n]), n))
        around = near.pop(node)
        cells += 1 << (len(around) + 1)
        for other in around:
            near[other] = (near[other] | around) - {node, other}
    return cells
