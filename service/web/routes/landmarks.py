"""`POST /v1/landmarks`: frames of body landmarks in, measures and graded observations out."""

import msgspec
from litestar import Response, post
from litestar.handlers import HTTPRouteHandler
from litestar.params import JSONBody

from service.landmarks import analyse
from service.model.graph import Graph
from service.model.landmarks import Clip
from service.web.problems import NO_STORE
from service.web.reading import Reader
from service.web.request import JSON_MEDIA, BodyRequest

CLIP_BYTES = 4 * 1024 * 1024
"""A clip above this is refused with 413: a minute at 60 frames a second of 33 points fits."""
LANGUAGE = "en"

_ENCODER = msgspec.json.Encoder()
_CLIPS = Reader(Clip)


class ClipRequest(BodyRequest):
    """A request whose body is a clip, decoded once, straight into its struct."""

    async def json(self) -> Clip:
        """The clip, or `RefusalError` with a pointer."""
        return _CLIPS.read(await self.body())


def landmark_routes(graph: Graph) -> list[HTTPRouteHandler]:
    """The handler that reads clips; its answers are never stored by caches."""

    @post(
        "/v1/landmarks",
        status_code=200,
        request_class=ClipRequest,
        request_max_body_size=CLIP_BYTES,
        sync_to_thread=False,
    )
    def read_landmarks(data: JSONBody[Clip]) -> Response[bytes]:
        """What one clip shows."""
        return Response(
            _ENCODER.encode(analyse(data, graph.cutoffs, graph.texts[LANGUAGE])),
            media_type=JSON_MEDIA,
            headers={"Cache-Control": NO_STORE},
        )

    return [read_landmarks]
