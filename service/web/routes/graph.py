"""`GET /v1/catalog/graph` and a finding's picture: what hangs together, for software and people."""

import msgspec
from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

from service import __version__
from service.engine.plan import CONTRACT
from service.model.graph import Graph
from service.web.documents import ReadRequest, document, serve
from service.web.graph import graph_of
from service.web.pages.neighbourhood import draw
from service.web.problems import RefusalError
from service.web.request import PICTURE, SVG_MEDIA
from service.web.routes.reading import READ, found


def graph_routes(graph: Graph) -> list[HTTPRouteHandler]:
    """The handlers of the graph and of the pictures, all of them drawn at the start."""
    version = f"{graph.pack.digest} {__version__} {CONTRACT}"
    whole = document(msgspec.json.encode(graph_of(graph)), f"graph {version}")
    pictures = {
        "findings": {
            finding.id: document(draw(finding, graph), f"picture {version}")
            for finding in graph.findings.values()
        }
    }

    @route("/v1/catalog/graph", http_method=READ, sync_to_thread=False)
    def get_graph(request: ReadRequest) -> Response[bytes]:
        """All live records as nodes, and how they hang together as edges."""
        return serve(request, whole)

    # the kind is a parameter because the router does not come back from a fixed part of a path
    @route(f"/v1/catalog/{{kind:str}}/{{record:str}}/{PICTURE}", http_method=READ,
           sync_to_thread=False)  # fmt: skip
    def draw_record(
        request: ReadRequest, kind: FromPath[str], record: FromPath[str]
    ) -> Response[bytes]:
        """One record with its neighbours."""
        if kind not in pictures:
            raise RefusalError("not-found")
        return serve(request, found(pictures[kind], record), SVG_MEDIA)

    return [get_graph, draw_record]
