"""`POST /v1/series`: a screen and a number of weeks in, the weeks out."""

import msgspec
from litestar import Response, post
from litestar.handlers import HTTPRouteHandler
from litestar.params import JSONBody

from service.engine.series import series
from service.model.graph import Graph
from service.model.series import SeriesRequest
from service.web.language import in_language
from service.web.reading import Reader
from service.web.request import JSON_MEDIA, BodyRequest

_ENCODER = msgspec.json.Encoder()
_REQUESTS = Reader(SeriesRequest)


class WeeksRequest(BodyRequest):
    """A request whose body asks for a series, decoded once, straight into its struct."""

    async def json(self) -> SeriesRequest:
        """What is asked for, or `RefusalError` with a pointer."""
        return _REQUESTS.read(await self.body())


def series_routes(graph: Graph) -> list[HTTPRouteHandler]:
    """The handler that lays weeks out; its answers are never stored by caches."""

    # many decisions: in a thread, so that plans need not wait for it
    @post("/v1/series", status_code=200, request_class=WeeksRequest, sync_to_thread=True)
    def make_series(data: JSONBody[SeriesRequest], request: WeeksRequest) -> Response[bytes]:
        """The weeks ahead of one screen."""
        screen, headers = in_language(data.screen, request, graph)
        asked = msgspec.structs.replace(data, screen=screen)
        body = _ENCODER.encode(series(asked, graph))
        return Response(body, media_type=JSON_MEDIA, headers=headers)

    return [make_series]
