"""The one composition root: a compiled pack and settings in, an ASGI application out."""

from litestar import Litestar
from litestar.enums import ScopeType
from litestar.exceptions import HTTPException
from litestar.types import ASGIApp, Message, Receive, Scope, Send

from service import __version__
from service.engine.plan import CONTRACT, plan
from service.model.graph import Graph, Pack
from service.web.failures import on_exception, on_http_exception, on_refused
from service.web.problems import RefusalError
from service.web.request import check_request
from service.web.routes.about import about_routes
from service.web.routes.catalog import catalog_routes
from service.web.routes.examples import example_routes
from service.web.routes.health import health_routes
from service.web.routes.plan import Decide, plan_routes
from service.web.routes.problems import problem_routes
from service.web.settings import Settings


def create_app(
    graph: Graph, settings: Settings | None = None, decide: Decide = plan
) -> "VersionHeaders":
    """The application that serves a pack; `decide` is the engine."""
    chosen = settings or Settings()
    return VersionHeaders(framework_app(graph, chosen, decide), graph.pack)


def framework_app(graph: Graph, settings: Settings, decide: Decide) -> Litestar:
    """The routes with their checks and failures, without what every answer carries."""
    return Litestar(
        [
            *plan_routes(graph, decide),
            *catalog_routes(graph),
            *example_routes(),
            *about_routes(graph),
            *problem_routes(),
            *health_routes(),
        ],
        before_request=check_request,
        exception_handlers={
            RefusalError: on_refused,
            HTTPException: on_http_exception,
            Exception: on_exception,
        },
        request_max_body_size=settings.max_body_bytes,
        # The published contract is the committed file; the framework's own pages would load
        # their scripts from elsewhere, and its logging writes bodies.
        openapi_config=None,
        logging_config=None,
        debug=False,
    )


class VersionHeaders:
    """Puts the versions on every answer, errors of the framework's router included.

    A plain ASGI wrapper, because the framework runs no middleware where no route matches.
    """

    def __init__(self, inner: ASGIApp, pack: Pack) -> None:
        self._inner = inner
        self._headers: list[tuple[bytes, bytes]] = [
            (b"movewright-contract", CONTRACT.encode()),
            (b"movewright-pack", f"{pack.version}; digest={pack.digest}".encode()),
            (b"movewright-service", __version__.encode()),
            (b"x-content-type-options", b"nosniff"),
        ]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request in, and the answer out with its versions."""
        if scope["type"] != ScopeType.HTTP:
            await self._inner(scope, receive, send)
            return

        async def stamped(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *self._headers]
            await send(message)

        await self._inner(scope, receive, stamped)
