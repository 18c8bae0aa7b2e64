"""`/kiosk` and `/embed`: the touch page, the second one for framing. Nothing of a visit is kept."""

import asyncio

from litestar import Request, Response, post, route
from litestar.datastructures import State
from litestar.handlers import HTTPRouteHandler

from service.engine.languages import language_accepted
from service.model.answer import Answer
from service.model.graph import Graph
from service.web.documents import ReadRequest
from service.web.kiosk.ask import Asker
from service.web.kiosk.form import FORM_MEDIA, Entered, entered
from service.web.kiosk.page import page
from service.web.kiosk.told import screen_of
from service.web.kiosk.visit import Turn, begin, turn, walk
from service.web.media import HTML_MEDIA
from service.web.pages.html import PAGE_POLICY
from service.web.problems import NO_STORE, RefusalError
from service.web.routes.plan import Decide
from service.web.routes.reading import READ

AnyRequest = Request[object, object, State]
POLICY = PAGE_POLICY.replace(" data:", "")
_PAGE = {"serves": (HTML_MEDIA,)}


def kiosk_routes(graph: Graph, decide: Decide) -> list[HTTPRouteHandler]:
    """The handlers of a fresh visit and of each form of it."""

    @route(["/kiosk", "/embed"], http_method=READ, opt=_PAGE, sync_to_thread=False)
    def open_kiosk(request: ReadRequest) -> Response[bytes]:
        """The first page, in the language that the browser asks for."""
        return fresh(request)

    @post(["/kiosk", "/embed"], status_code=200, opt=_PAGE)
    async def go_on(request: AnyRequest) -> Response[bytes]:
        """The page that follows a form, the first one again after one that is none of ours."""
        media = (request.headers.get("content-type") or "").partition(";")[0].strip().lower()
        if media != FORM_MEDIA:
            raise RefusalError("unsupported-media-type", headers={"Accept": FORM_MEDIA})
        try:
            form = entered(await request.body())
        except RefusalError:
            return fresh(request, is_lost=True)
        # a plan with all its reasons takes up to a second: in a thread, off the loop
        return await asyncio.to_thread(_follow, form, request.url.path)

    def fresh(request: AnyRequest, *, is_lost: bool = False) -> Response[bytes]:
        ask = Asker(graph, language_accepted(request.headers.get("accept-language"), graph))
        path = request.url.path
        html = page(ask, begin(ask), None, path, is_fresh=True, is_lost=is_lost)
        return _sent(html, ask)

    def _follow(form: Entered, path: str) -> Response[bytes]:
        ask = Asker(graph, form.language or form.draft.language)
        shown = turn(ask, form)
        answer = None if shown.asked or shown.referrals else _planned(ask, shown)
        return _sent(page(ask, shown, answer, path, is_fresh=False), ask)

    def _planned(ask: Asker, shown: Turn) -> Answer:
        _, counted = walk(ask, shown.draft.answers)
        return decide(screen_of(ask, counted), graph)

    return [open_kiosk, go_on]


def _sent(html: str, ask: Asker) -> Response[bytes]:
    headers = {
        "Cache-Control": NO_STORE,
        "Content-Language": ask.language,
        "Content-Security-Policy": POLICY,
        "Vary": "Accept-Language",
    }
    return Response(html.encode(), media_type=HTML_MEDIA, headers=headers)
