"""`GET /docs...`: what there is, the contract to read, the playground and the component.

`/` leads here: whoever opens the service in a browser wants to know what it is.
"""

from functools import cache

import msgspec
from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from markupsafe import Markup

from service import __version__
from service.engine.plan import CONTRACT, plan
from service.model.answer import Answer
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
    """The handlers of the four pages, and of the way to them."""
    screens = examples()
    first = screens[SHOWN]
    version = f"{graph.pack.digest} {__version__} {CONTRACT} {assets_version()}"
    shown: dict[str, Document] = {}

    @cache
    def decided() -> Answer:
        """The plan that the pages show, the same for every caller."""
        screen = msgspec.json.decode(first, type=Screen)
        return plan(msgspec.structs.replace(screen, options=Options()), graph)

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
        """What there is."""
        return page(request, "docs.html", PAGE_POLICY, example=SHOWN, answer=_excerpt(decided()))

    @route("/docs/contract", http_method=READ, opt=_PAGE, sync_to_thread=False)
    def read_contract(request: ReadRequest) -> Response[bytes]:
        """The contract, for people."""
        return page(request, "contract.html", SWAGGER_POLICY)

    @route("/docs/try", http_method=READ, opt=_PAGE, sync_to_thread=False)
    def read_try(request: ReadRequest) -> Response[bytes]:
        """The playground."""
        names = sorted(screens, key=lambda name: (name != SHOWN, name))
        return page(request, "try.html", PAGE_POLICY, examples=names, first=first.decode())

    @route("/docs/component", http_method=READ, opt=_PAGE, sync_to_thread=False)
    def read_component(request: ReadRequest) -> Response[bytes]:
        """The component, running."""
        return page(request, "component.html", PAGE_POLICY, plan=_inside_script(decided()))

    @route("/", http_method=READ, opt=_PAGE, sync_to_thread=False)
    def lead_here(request: ReadRequest) -> Response[bytes]:
        """The way to the docs."""
        return Response(b"", status_code=307, headers={"Location": "/docs"}, media_type=HTML_MEDIA)

    return [read_docs, read_contract, read_try, read_component, lead_here]


def _excerpt(answer: Answer) -> str:
    """A few fields of an answer as JSON: enough to see what the whole is about."""
    told: dict[str, object] = {"verdict": answer.verdict, "summary": answer.summary}
    for cause in answer.causes[:1]:
        told["causes"] = [
            {
                "name": cause.name,
                "side": cause.side,
                "belief": cause.belief,
                "because": [one.text for one in cause.because[:2]],
            }
        ]
    steps = answer.session.steps if answer.session else ()
    told["session"] = {"steps": [{"name": one.name, "cues": one.cues} for one in steps[:1]]}
    return msgspec.json.format(msgspec.json.encode(told), indent=2).decode()


def _inside_script(answer: msgspec.Struct) -> Markup:
    """The answer as JSON that cannot end the script element it stands in."""
    return Markup(msgspec.json.encode(answer).decode().replace("<", "\\u003c"))
