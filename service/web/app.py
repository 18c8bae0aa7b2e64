"""The one composition root: a compiled pack and settings in, an ASGI application out."""

from litestar import Litestar
from litestar.exceptions import HTTPException
from litestar.routes import HTTPRoute

from service.engine.plan import plan
from service.engine.ready import make_ready
from service.model.answer import Answer
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.edge import Edge
from service.web.failures import on_exception, on_http_exception, on_refused
from service.web.outgoing import common_headers
from service.web.problems import RefusalError
from service.web.request import check_request
from service.web.routes.about import about_routes
from service.web.routes.assets import asset_routes
from service.web.routes.bulk import bulk_routes
from service.web.routes.catalog import catalog_routes
from service.web.routes.docs import docs_routes
from service.web.routes.doubt import doubt_routes
from service.web.routes.examples import example_routes
from service.web.routes.graph import graph_routes
from service.web.routes.health import health_routes
from service.web.routes.kiosk import kiosk_routes
from service.web.routes.landmarks import landmark_routes
from service.web.routes.ops import ops_routes
from service.web.routes.plan import Decide, plan_routes
from service.web.routes.problems import problem_routes
from service.web.routes.review import review_routes
from service.web.routes.series import series_routes
from service.web.running import Running, running_of
from service.web.settings import Settings


def create_app(
    graph: Graph,
    settings: Settings | None = None,
    decide: Decide = plan,
    running: Running | None = None,
) -> Edge:
    """The application that serves a pack; `decide` is the engine."""
    chosen = settings or Settings()
    make_ready(graph)
    runs = running or running_of(graph.pack, chosen)
    runs.metrics.take(graph.pack)
    inner = framework_app(graph, chosen, decide, runs)
    paths = {route.path for route in inner.routes}
    return Edge(
        inner,
        pack=graph.pack,
        settings=chosen,
        running=runs,
        common=common_headers(graph.pack, chosen, has_docs="/docs" in paths),
        body_limits=_body_limits(inner),
    )


def _body_limits(app: Litestar) -> dict[str, int]:
    """Path -> the largest body that its handler reads."""
    limits: dict[str, int] = {}
    for mounted in app.routes:
        for handler in mounted.route_handlers if isinstance(mounted, HTTPRoute) else ():
            most = handler.resolve_request_max_body_size()
            if most is not None and "POST" in handler.http_methods:
                limits[mounted.path] = most
    return limits


def framework_app(
    graph: Graph, settings: Settings, engine: Decide, running: Running | None = None
) -> Litestar:
    """The routes with their checks and failures, without what every answer carries."""
    runs = running or running_of(graph.pack, settings)

    def decide(screen: Screen, graph: Graph) -> Answer:
        answer = engine(screen, graph)
        runs.metrics.count("verdict", answer.verdict)
        return answer

    return Litestar(
        [
            *plan_routes(graph, decide),
            *kiosk_routes(graph, decide),
            *doubt_routes(graph),
            *landmark_routes(graph),
            *review_routes(graph),
            *series_routes(graph),
            *catalog_routes(graph),
            *graph_routes(graph),
            *example_routes(),
            *about_routes(graph),
            *asset_routes(),
            *docs_routes(graph),
            *problem_routes(),
            *health_routes(lambda: runs.life.draining),
            *ops_routes(settings, runs.metrics),
            *bulk_routes(graph, decide, settings, runs.work, runs.metrics),
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
