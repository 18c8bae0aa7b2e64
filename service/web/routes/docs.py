"""`GET /docs...`: the contract to read, the playground, the component, each a page of its own."""

import msgspec
from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from markupsafe import Markup

from service import __version__
from service.engine.plan import CONTRACT, plan
from service.model.graph import Graph
from service.model.screen import Options, Screen
from service.web.documents import Document, ReadRequest, document, serve
from service.web.media import HTML_MEDIA
from service.web.pages.html import PAGE_POLICY, SWAGGER_POLICY, render
from service.web.routes.reading import READ
from service.web.shipped import assets_version, examples

SHOWN = "left_knee_nothing_helps"
"""The example that the pages open with."""
_PAGE = {"serves": (HTML_MEDIA,)}


def docs_routes(graph: Graph) -> list[HTTPRouteHandler]:
    """The handlers of the three pages."""
    screens = examples()
    first = screens[SHOWN]
    version = f"{graph.pack.digest} {__version__} {CONTRACT} {assets_version()}"
    shown: dict[str, Document] = {}

    def page(request: ReadRequest, name: str, policy: str, **values: object) -> Response[bytes]:
        """The page, made when it is first asked for; addresses in it follow the host asked."""
        host = str(request.base_url).rstrip("/")
        key = f"{name} {host}"
        if key not in shown:
            shown.clear()  # of one host at a time: the header is the caller's to choose
            html = render(name, host=host, **values)
            shown[key] = document(html.encode(), f"{key} {version}")
        answer = serve(request, shown[key], HTML_MEDIA)
        answer.headers["Content-Security-Policy"] = policy
        return answer

    @route("/docs", http_method=READ, opt=_PAGE, sync_to_thread=False)
    def read_docs(request: ReadRequest) -> Response[bytes]:
        """What there is, and the contract to read."""
        return page(request, "docs.html", SWAGGER_POLICY, example=SHOWN)

    @route("/docs/try", http_method=READ, opt=_PAGE, sync_to_thread=False)
    def read_try(request: ReadRequest) -> Response[bytes]:
        """The playground."""
        names = sorted(screens, key=lambda name: (name != SHOWN, name))
        return page(request, "try.html", PAGE_POLICY, examples=names, first=first.decode())

    @route("/docs/component", http_method=READ, opt=_PAGE, sync_to_thread=False)
    def read_component(request: ReadRequest) -> Response[bytes]:
        """The component, running."""
        screen = msgspec.json.decode(first, type=Screen)
        answer = plan(msgspec.structs.replace(screen, options=Options()), graph)
        return page(request, "component.html", PAGE_POLICY, plan=_inside_script(answer))

    return [read_docs, read_try, read_component]


def _inside_script(answer: msgspec.Struct) -> Markup:
    """The answer as JSON that cannot end the script element it stands in."""
    return Markup(msgspec.json.encode(answer).decode().replace("<", "\\u003c"))
