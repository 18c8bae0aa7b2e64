"""`POST /v1/next-check` and `/v1/validate`: what to look at next, and a screen as understood."""

import msgspec
from litestar import Response, post
from litestar.handlers import HTTPRouteHandler
from litestar.params import JSONBody

from service.engine.next_check import next_check
from service.engine.validate import validate
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.language import in_language
from service.web.request import JSON_MEDIA, ScreenRequest

_ENCODER = msgspec.json.Encoder()


def doubt_routes(graph: Graph) -> list[HTTPRouteHandler]:
    """The handlers; their answers are never stored by caches."""

    # hundreds of decisions: in a thread, so that plans need not wait for it
    @post("/v1/next-check", status_code=200, request_class=ScreenRequest, sync_to_thread=True)
    def find_next_check(data: JSONBody[Screen], request: ScreenRequest) -> Response[bytes]:
        """What to check next for one screen."""
        screen, headers = in_language(data, request, graph)
        body = _ENCODER.encode(next_check(screen, graph))
        return Response(body, media_type=JSON_MEDIA, headers=headers)

    @post("/v1/validate", status_code=200, request_class=ScreenRequest, sync_to_thread=False)
    def validate_screen(data: JSONBody[Screen], request: ScreenRequest) -> Response[bytes]:
        """One screen as it is understood."""
        screen, headers = in_language(data, request, graph)
        body = _ENCODER.encode(validate(screen, graph))
        return Response(body, media_type=JSON_MEDIA, headers=headers)

    return [find_next_check, validate_screen]
