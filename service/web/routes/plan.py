"""`POST /v1/plan`: a screen in, an answer out."""

from collections.abc import Callable

import msgspec
from litestar import Response, post
from litestar.handlers import HTTPRouteHandler
from litestar.params import JSONBody

from service.model.answer import Answer
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.problems import NO_STORE
from service.web.request import JSON_MEDIA, ScreenRequest

Decide = Callable[[Screen, Graph], Answer]

_ENCODER = msgspec.json.Encoder()


def plan_routes(graph: Graph, decide: Decide) -> list[HTTPRouteHandler]:
    """The handler that decides; its answers are never stored by caches."""

    @post("/v1/plan", status_code=200, request_class=ScreenRequest, sync_to_thread=False)
    def make_plan(data: JSONBody[Screen]) -> Response[bytes]:
        """The plan for one screen."""
        return Response(
            _ENCODER.encode(decide(data, graph)),
            media_type=JSON_MEDIA,
            headers={"Cache-Control": NO_STORE},
        )

    return [make_plan]
