"""`GET /v1/catalog/graph` and pictures: what hangs together, and how a drill looks."""

from typing import Literal

import msgspec
from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

from service import __version__
from service.engine.plan import CONTRACT
from service.figures import picture
from service.model.graph import Graph
from service.web.documents import Document, ReadRequest, document, serve
from service.web.graph import graph_of
from service.web.pages.neighbourhood import draw
from service.web.problems import RefusalError
from service.web.request import PICTURE, SVG_MEDIA
from service.web.routes.reading import READ, found

SIDES = ("left", "right")


def graph_routes(graph: Graph) -> list[HTTPRouteHandler]:
    """The handlers of the graph and of the pictures.

    Neighbourhoods are drawn at the start, drills when first asked for: there are hundreds.
    """
    version = f"{graph.pack.digest} {__version__} {CONTRACT}"
    whole = document(msgspec.json.encode(graph_of(graph)), f"graph {version}")
    neighbourhoods = {
        finding.id: document(draw(finding, graph), f"picture {version}")
        for finding in graph.findings.values()
    }
    drills: dict[tuple[str, str], Document] = {}

    @route("/v1/catalog/graph", http_method=READ, sync_to_thread=False)
    def get_graph(request: ReadRequest) -> Response[bytes]:
        """All live records as nodes, and how they hang together as edges."""
        return serve(request, whole)

    # the kind is a parameter because the router does not come back from a fixed part of a path
    @route(f"/v1/catalog/{{kind:str}}/{{record:str}}/{PICTURE}", http_method=READ,
           opt={"serves": (SVG_MEDIA,), "reads_query": True}, sync_to_thread=False)  # fmt: skip
    def draw_record(
        request: ReadRequest, kind: FromPath[str], record: FromPath[str]
    ) -> Response[bytes]:
        """A finding with its neighbours, or a drill with one side working."""
        side = _side_of(request, kind)
        if kind == "findings":
            return serve(request, found(neighbourhoods, record), SVG_MEDIA)
        if kind != "drills" or record not in graph.drills:
            raise RefusalError("not-found")
        if (record, side) not in drills:
            drawn = picture(graph, record, side)
            if drawn is None:
                raise RefusalError("not-found")
            drills[record, side] = document(drawn.encode(), f"picture {side} {version}")
        return serve(request, drills[record, side], SVG_MEDIA)

    return [get_graph, draw_record]


def _side_of(request: ReadRequest, kind: str) -> Literal["left", "right"]:
    """The side that works in a drill's picture, right where none is asked for."""
    asked = list(request.query_params.multi_items())
    if not asked:
        return "right"
    if len(asked) > 1 or asked[0][0] != "side":
        raise RefusalError("unknown-query")
    # only a drill has sides: nothing else has a picture of one
    if kind != "drills" or asked[0][1] not in SIDES:
        raise RefusalError("not-found")
    return asked[0][1]  # type: ignore[no-any-return]
