"""`GET /livez` and `GET /readyz`: for whoever keeps the process running."""

from collections.abc import Callable
from typing import Literal

import msgspec
from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from service.web.problems import NO_STORE, RefusalError
from service.web.request import JSON_MEDIA
from service.web.routes.reading import READ

RETRY_AFTER = {"Retry-After": "1"}


class Health(Struct, frozen=True, kw_only=True):
    """The process answers."""

    status: Literal["ok"]


def health_routes(is_draining: Callable[[], bool] = lambda: False) -> list[HTTPRouteHandler]:
    """The handlers of both probes. A process listens only once its pack is compiled."""
    body = msgspec.json.encode(Health(status="ok"))

    def healthy() -> Response[bytes]:
        return Response(body, media_type=JSON_MEDIA, headers={"Cache-Control": NO_STORE})

    @route("/livez", http_method=READ, sync_to_thread=False)
    def is_alive() -> Response[bytes]:
        """Whether the process answers at all."""
        return healthy()

    @route("/readyz", http_method=READ, sync_to_thread=False)
    def is_ready() -> Response[bytes]:
        """Whether the process takes new requests."""
        if is_draining():
            raise RefusalError("not-ready", headers=RETRY_AFTER)
        return healthy()

    return [is_alive, is_ready]
