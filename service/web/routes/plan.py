"""`POST /v1/plan`: a screen in, an answer out."""

from collections.abc import Callable

import msgspec
from litestar import Response, post
from litestar.handlers import HTTPRouteHandler
from litestar.params import JSONBody

from service.model.answer import Answer
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.language import in_language
from service.web.request import JSON_MEDIA, ScreenRequest

Decide = Callable[[Screen, Graph], Answer]

_ENCODER = msgspec.json.Encoder()


def plan_routes(graph: Graph, decide: Decide) -> list[HTTPRouteHandler]:
    """The handler that decides; its answers are never stored by caches."""

    @post("/v1/plan", status_code=200, request_class=ScreenRequest, sync_to_thread=False)
    def make_plan(data: JSONBody[Screen], request: ScreenRequest) -> Response[bytes]:
        """The plan for one screen."""
        screen, headers = in_language(data, request, graph)
        body = _ENCODER.encode(decide(screen, graph))
        return Response(body, media_type=JSON_MEDIA, headers=headers)

    return [make_plan]
