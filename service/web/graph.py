"""The pack as a graph that software can draw: every live record a node, every mention an edge.

Apart from the catalogue, which serves records whole and says nothing of what hangs together.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Literal

from msgspec import Struct

from service.model.graph import Graph, Pack
from service.model.knowledge import Record

EdgeKind = Literal[
    "carries_over", "easier_than", "makes", "rests_on", "seen_in", "speaks_for", "takes_away",
    "trains", "works_through",
]  # fmt: skip
NodeKind = Literal[
    "causes", "changes", "drills", "findings", "measures", "movements", "muscles", "sources"
]
KINDS: tuple[NodeKind, ...] = (
    "causes",
    "changes",
    "drills",
    "findings",
    "measures",
    "movements",
    "muscles",
    "sources",
)


class GraphNode(Struct, frozen=True, kw_only=True):
    """A live record; `id` is its kind and its own id, as in paths of the catalogue."""

    id: str
    kind: NodeKind
    name: str


class GraphEdge(Struct, frozen=True, kw_only=True):
    """How one record bears on another. `weight` is 0 to 1, or null where there is no number.

    `makes`: cause to finding, with the largest strength in any movement. `trains`: drill to cause,
    with its effect. `carries_over`: drill to movement. `takes_away`: change to cause, one minus
    what persists. `record` names the link of a `makes`, and is null for all others.
    """

    source: str
    target: str
    kind: EdgeKind
    weight: float | None
    record: str | None


class PackGraph(Struct, frozen=True, kw_only=True):
    """All nodes by id, and all edges by source, target and kind."""

    nodes: tuple[GraphNode, ...]
    edges: tuple[GraphEdge, ...]
    pack: Pack


def graph_of(graph: Graph) -> PackGraph:
    """The live records of a pack and how they hang together."""
    nodes = [
        GraphNode(id=f"{kind}/{record.id}", kind=kind, name=record.name)
        for kind in KINDS
        if kind != "sources"
        for record in _records(graph, kind)
    ]
    nodes += [
        GraphNode(id=f"sources/{source.id}", kind="sources", name=source.citation)
        for source in graph.sources.values()
    ]
    edges = sorted(
        (*_of_causes(graph), *_of_drills(graph), *_of_looks(graph), *_of_sources(graph)),
        key=lambda edge: (edge.source, edge.target, edge.kind, edge.record or ""),
    )
    return PackGraph(
        nodes=tuple(sorted(nodes, key=lambda node: node.id)), edges=tuple(edges), pack=graph.pack
    )


def _records(graph: Graph, kind: NodeKind) -> Iterable[Record]:
    by_id: Mapping[str, Record] = getattr(graph, kind)
    return by_id.values()


def _edge(
    source: str, target: str, kind: EdgeKind, weight: float | None = None, record: str | None = None
) -> GraphEdge:
    return GraphEdge(source=source, target=target, kind=kind, weight=weight, record=record)


def _of_causes(graph: Graph) -> Iterator[GraphEdge]:
    for link in graph.links.values():
        if link.strengths:
            strongest = max(link.strengths.values())
            ends = f"causes/{link.cause}", f"findings/{link.finding}"
            yield _edge(*ends, "makes", strongest, link.id)
    for cause in graph.causes.values():
        for part in cause.muscles:
            yield _edge(f"causes/{cause.id}", f"muscles/{part.muscle}", "works_through")
    for change in graph.changes.values():
        for row in change.persistence:
            if row.cause is not None and row.finding is None:
                taken = round(1 - row.a, 9)
                yield _edge(f"changes/{change.id}", f"causes/{row.cause}", "takes_away", taken)
    for measure in graph.measures.values():
        for speaks in measure.speaks_for:
            yield _edge(f"measures/{measure.id}", f"causes/{speaks.cause}", "speaks_for")


def _of_drills(graph: Graph) -> Iterator[GraphEdge]:
    for drill in graph.drills.values():
        for trained in drill.trains:
            yield _edge(f"drills/{drill.id}", f"causes/{trained.cause}", "trains", trained.effect)
        for target, part in drill.carries_to.items():
            if part:
                yield _edge(f"drills/{drill.id}", f"movements/{target}", "carries_over", part)
    for offer in graph.offers:
        if offer.harder is not None:
            yield _edge(f"drills/{offer.drill}", f"drills/{offer.harder}", "easier_than")


def _of_looks(graph: Graph) -> Iterator[GraphEdge]:
    for movement, finding in sorted({(movement, finding) for movement, finding, _ in graph.eyes}):
        yield _edge(f"findings/{finding}", f"movements/{movement}", "seen_in")


def _of_sources(graph: Graph) -> Iterator[GraphEdge]:
    for kind in KINDS:
        if kind != "sources":
            for record in _records(graph, kind):
                for source in sorted(set(record.sources)):
                    yield _edge(f"{kind}/{record.id}", f"sources/{source}", "rests_on")
