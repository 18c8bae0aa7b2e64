"""`/metrics` and `/.well-known/...`: for those who run the service and those who look for it."""

from datetime import UTC, datetime, timedelta

import msgspec
from litestar import Request, Response, route
from litestar.datastructures import State
from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from service.web.documents import ReadRequest, of_content, serve
from service.web.media import LINKSET_MEDIA, TEXT_MEDIA
from service.web.metrics import Metrics
from service.web.problems import NO_STORE, RefusalError
from service.web.request import accepts
from service.web.routes.reading import READ
from service.web.settings import Settings

METRICS_MEDIA = "text/plain; version=0.0.4"
"""The framework adds the character set."""
CONTACT_FOR = timedelta(days=180)
"""A security.txt must expire (RFC 9116, 2.5.5); a process does not run for longer than that."""


class Target(Struct, frozen=True, kw_only=True):
    """Where a link leads."""

    href: str
    type: str


class Links(Struct, frozen=True, kw_only=True):
    """The links of one API (RFC 9264)."""

    anchor: str
    service_desc: tuple[Target, ...] = msgspec.field(name="service-desc")
    service_meta: tuple[Target, ...] = msgspec.field(name="service-meta")
    status: tuple[Target, ...]


class ApiCatalog(Struct, frozen=True, kw_only=True):
    """The API catalogue (RFC 9727): one API, and where its descriptions are."""

    linkset: tuple[Links, ...]


def ops_routes(settings: Settings, metrics: Metrics) -> list[HTTPRouteHandler]:
    """The handlers of metrics, API catalogue and security.txt."""
    links = Links(
        anchor="/v1/",
        service_desc=(Target(href="/openapi.json", type="application/json"),),
        service_meta=(Target(href="/v1/about", type="application/json"),),
        status=(Target(href="/readyz", type="application/json"),),
    )
    catalog = of_content(msgspec.json.encode(ApiCatalog(linkset=(links,))))
    expires = datetime.now(UTC).replace(microsecond=0) + CONTACT_FOR
    contact = of_content(
        f"Contact: {settings.security_contact}\nExpires: {expires:%Y-%m-%dT%H:%M:%SZ}\n".encode()
    )

    @route(
        "/metrics",
        http_method=READ,
        before_request=_check_text,
        media_type=TEXT_MEDIA,
        sync_to_thread=False,
    )
    def get_metrics() -> Response[bytes]:
        """All counts of all workers."""
        return Response(
            metrics.page(), media_type=METRICS_MEDIA, headers={"Cache-Control": NO_STORE}
        )

    @route(
        "/.well-known/api-catalog",
        http_method=READ,
        before_request=_check_linkset,
        media_type=LINKSET_MEDIA,
        sync_to_thread=False,
    )
    def get_api_catalog(request: ReadRequest) -> Response[bytes]:
        """The API catalogue."""
        return serve(request, catalog, LINKSET_MEDIA)

    @route(
        "/.well-known/security.txt",
        http_method=READ,
        before_request=_check_text,
        media_type=TEXT_MEDIA,
        sync_to_thread=False,
    )
    def get_security_contact(request: ReadRequest) -> Response[bytes]:
        """Where to report a weakness."""
        if not settings.security_contact:
            raise RefusalError("not-found")
        return serve(request, contact, TEXT_MEDIA)

    return [get_metrics, get_api_catalog, get_security_contact]


async def _check_text(request: Request[object, object, State]) -> None:
    _check(request, TEXT_MEDIA)


async def _check_linkset(request: Request[object, object, State]) -> None:
    _check(request, LINKSET_MEDIA)


def _check(request: Request[object, object, State], media: str) -> None:
    accept = request.headers.get("accept")
    if accept is not None and not accepts(accept, media):
        raise RefusalError("not-acceptable")
    if request.scope["query_string"]:
        raise RefusalError("unknown-query")
