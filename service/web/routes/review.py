"""`POST /v1/review`: two screens of one client and what was done between them, a review back."""

import msgspec
from litestar import Response, post
from litestar.handlers import HTTPRouteHandler
from litestar.params import JSONBody

from service.engine.review import review
from service.model.graph import Graph
from service.model.review import ReviewRequest
from service.web.language import in_language
from service.web.reading import Reader
from service.web.request import JSON_MEDIA, BodyRequest

_ENCODER = msgspec.json.Encoder()
_REQUESTS = Reader(ReviewRequest)


class SecondLookRequest(BodyRequest):
    """A request whose body asks for a review, decoded once, straight into its struct."""

    async def json(self) -> ReviewRequest:
        """What is asked for, or `RefusalError` with a pointer."""
        return _REQUESTS.read(await self.body())


def review_routes(graph: Graph) -> list[HTTPRouteHandler]:
    """The handler that compares; its answers are never stored by caches."""

    # two screens at once and a plan after them: in a thread, so that plans need not wait for it
    @post("/v1/review", status_code=200, request_class=SecondLookRequest, sync_to_thread=True)
    def make_review(data: JSONBody[ReviewRequest], request: SecondLookRequest) -> Response[bytes]:
        """What became of one client."""
        retest, headers = in_language(data.retest, request, graph)
        asked = msgspec.structs.replace(data, retest=retest)
        body = _ENCODER.encode(review(asked, graph))
        return Response(body, media_type=JSON_MEDIA, headers=headers)

    return [make_review]
