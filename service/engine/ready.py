"""What is worked out for a pack before the first request, so that no client waits for it.

Apart from the shelves because it is the whole engine's: every keeper that takes its time.
"""

from typing import cast

from service.engine.infer import laid_out
from service.engine.rows import RANKS
from service.engine.shelf import shelf_of
from service.model.graph import Graph
from service.model.quantities import TargetId


def make_ready(graph: Graph) -> None:
    """Make every shelf and lay out the network; both are kept for the pack."""
    laid_out(graph.network)
    for target in graph.targets:
        for level in RANKS:
            shelf_of(graph, cast(TargetId, target), level)
