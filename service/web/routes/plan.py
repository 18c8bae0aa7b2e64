"""`POST /v1/plan`: a screen in, an answer out; as JSON, or as a card to print."""

import asyncio
from collections.abc import Callable, Mapping
from urllib.parse import parse_qsl

import msgspec
from litestar import Response, post
from litestar.handlers import HTTPRouteHandler
from litestar.params import JSONBody

from service.model.answer import Answer
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.language import in_language
from service.web.media import HTML_MEDIA, PDF_MEDIA
from service.web.pages.card import CardForm, card
from service.web.pages.pdf import pdf_writer
from service.web.problems import RefusalError
from service.web.request import JSON_MEDIA, ScreenRequest, best_media

Decide = Callable[[Screen, Graph], Answer]

_ENCODER = msgspec.json.Encoder()


def plan_routes(graph: Graph, decide: Decide) -> list[HTTPRouteHandler]:
    """The handler that decides; its answers are never stored by caches."""
    to_pdf = pdf_writer()
    served = (JSON_MEDIA, HTML_MEDIA, *((PDF_MEDIA,) if to_pdf else ()))

    @post(
        "/v1/plan",
        status_code=200,
        request_class=ScreenRequest,
        opt={"serves": served, "reads_query": True},
    )
    async def make_plan(data: JSONBody[Screen], request: ScreenRequest) -> Response[bytes]:
        """The plan for one screen."""
        form = form_of(request.scope["query_string"])
        screen, headers = in_language(data, request, graph)
        if screen.options.include:
            # up to a second: in a thread, so that plans need not wait for it
            answer = await asyncio.to_thread(decide, screen, graph)
        else:
            answer = decide(screen, graph)
        headers = {**headers, "Vary": f"Accept, {headers['Vary']}"}
        media = best_media(request.headers.get("accept"), served) or JSON_MEDIA
        if media == JSON_MEDIA:
            return Response(_ENCODER.encode(answer), media_type=media, headers=headers)
        return await _carded(answer, screen, form, media, headers)

    async def _carded(
        answer: Answer, screen: Screen, form: CardForm, media: str, headers: Mapping[str, str]
    ) -> Response[bytes]:
        made = card(answer, graph, screen.options.language, form)
        if media == PDF_MEDIA and to_pdf is not None:
            # most of a second: in a thread, for the same reason
            body = await asyncio.to_thread(to_pdf, made.html)
            return Response(body, media_type=media, headers=headers)
        policy = {"Content-Security-Policy": made.policy}
        return Response(made.html.encode(), media_type=media, headers={**headers, **policy})

    return [make_plan]


def form_of(query: bytes) -> CardForm:
    """How the query asks for the card to be set, or `RefusalError` where it asks for else."""
    if not query:
        return CardForm()
    pairs = parse_qsl(query.decode("ascii", "replace"), keep_blank_values=True)
    if len(dict(pairs)) != len(pairs) or not {name for name, _ in pairs} <= {"paper", "type"}:
        raise RefusalError("unknown-query")
    try:
        return msgspec.convert(dict(pairs), CardForm)
    except msgspec.ValidationError:
        raise RefusalError("unknown-query") from None
