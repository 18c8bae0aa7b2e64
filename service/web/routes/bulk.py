"""`POST /v1/bulk/plan`: screens in, answers out, one line each, as they come."""

from collections.abc import AsyncIterator
from typing import Protocol

import msgspec
from litestar import Request, post
from litestar.datastructures import State
from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp, Receive, Scope, Send

from service.model.graph import Graph
from service.web.bulk import Lines, Tally, answer_line, problem_line
from service.web.limits import Work
from service.web.media import NDJSON_MEDIA
from service.web.problems import PROBLEM_MEDIA, RefusalError, problem_response
from service.web.request import JSON_MEDIA, accepts
from service.web.routes.plan import Decide
from service.web.settings import Settings

BULK_PATH = "/v1/bulk/plan"


class CountsLines(Protocol):
    """Where lines and refused requests are counted."""

    def count(self, kind: str, name: str, by: float = 1.0) -> None:
        """Add to a count."""


async def check_bulk(request: Request[object, object, State]) -> None:
    """Nothing, or `RefusalError`: runs before the handler, in place of the check of one screen."""
    accept = request.headers.get("accept")
    if accept is not None and not accepts(accept, NDJSON_MEDIA):
        raise RefusalError("not-acceptable")
    if request.scope["query_string"]:
        raise RefusalError("unknown-query")
    encoding = request.headers.get("content-encoding", "").strip().lower()
    if encoding not in ("", "identity"):
        raise RefusalError("unsupported-encoding", headers={"Accept-Encoding": "identity"})
    if _media(request) not in (NDJSON_MEDIA, JSON_MEDIA):
        raise RefusalError(
            "unsupported-media-type", headers={"Accept": f"{NDJSON_MEDIA}, {JSON_MEDIA}"}
        )


def _media(request: Request[object, object, State]) -> str:
    kind, *parameters = (request.headers.get("content-type") or "").lower().split(";")
    for parameter in parameters:
        name, _, value = parameter.strip().partition("=")
        if name == "charset" and value.strip('"') not in ("utf-8", "utf8"):
            return ""
    return kind.strip()


def bulk_routes(
    graph: Graph, decide: Decide, settings: Settings, work: Work, counts: CountsLines
) -> list[HTTPRouteHandler]:
    """The handler that streams; its lines take their turns in the queue `work`."""

    @post(
        BULK_PATH,
        status_code=200,
        before_request=check_bulk,
        request_max_body_size=None,
        media_type=NDJSON_MEDIA,
        sync_to_thread=False,
    )
    def make_plans(request: Request[object, object, State]) -> ASGIApp:
        """The plans for many screens."""
        return _Stream(graph, decide, settings, work, counts, _media(request) == JSON_MEDIA)

    return [make_plans]


class _Stream:
    """The answer to one bulk request: reads a line, writes a line, holds no more."""

    def __init__(
        self,
        graph: Graph,
        decide: Decide,
        settings: Settings,
        work: Work,
        counts: CountsLines,
        is_array: bool,
    ) -> None:
        self._graph = graph
        self._decide = decide
        self._settings = settings
        self._work = work
        self._counts = counts
        self._is_array = is_array

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse where as many bulk requests run as may."""
        if not self._work.enter_bulk():
            self._counts.count("shed", "bulk")
            await self._problem("too-much-work", scope, receive, send)
            return
        try:
            await self._run(scope, receive, send)
        finally:
            self._work.leave_bulk()

    async def _run(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            lines = _of_stream(receive, self._settings.max_body_bytes)
            if self._is_array:
                lines = _of_array(await _whole(receive, self._settings.max_body_bytes))
        except RefusalError as refusal:
            await self._problem(refusal.problem, scope, receive, send)
            return
        except _GoneError:
            return
        headers = [(b"content-type", NDJSON_MEDIA.encode()), (b"cache-control", b"no-store")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        tally = Tally()
        complete = True
        async for number, raw in lines:
            complete = number <= self._settings.max_bulk_lines
            written, is_answer = problem_line(number, "bulk-too-long"), False
            if complete:
                written, is_answer = await self._line(number, raw)
            tally.add(written, is_answer=is_answer)
            self._counts.count("line", "answer" if is_answer else "problem")
            await send({"type": "http.response.body", "body": written, "more_body": True})
            if not complete:
                break
        closing = tally.summary(self._graph.pack.digest, complete=complete)
        await send({"type": "http.response.body", "body": closing, "more_body": False})

    async def _line(self, number: int, raw: bytes | None) -> tuple[bytes, bool]:
        if raw is None:
            return problem_line(number, "body-too-large"), False
        async with self._work.turn():
            return answer_line(number, raw, self._graph, self._decide)

    async def _problem(self, problem: str, scope: Scope, receive: Receive, send: Send) -> None:
        headers = {"Retry-After": "1"} if problem == "too-much-work" else None
        made = problem_response(problem, headers=headers)
        own = [(b"content-type", PROBLEM_MEDIA.encode())]
        own += [(name.lower().encode(), value.encode()) for name, value in made.headers.items()]
        own.append((b"content-length", str(len(made.content)).encode()))
        await send(
            {"type": "http.response.start", "status": made.status_code or 500, "headers": own}
        )
        await send({"type": "http.response.body", "body": made.content, "more_body": False})


class _GoneError(Exception):
    """The caller went away."""


async def _chunks(receive: Receive) -> AsyncIterator[bytes]:
    more = True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise _GoneError
        if message["type"] == "http.request":
            more = message["more_body"]
            yield message["body"]


async def _of_stream(receive: Receive, most: int) -> AsyncIterator[tuple[int, bytes | None]]:
    lines = Lines(most)
    try:
        async for chunk in _chunks(receive):
            for found in lines.feed(chunk):
                yield found
    except _GoneError:
        return
    for found in lines.finish():
        yield found


async def _whole(receive: Receive, most: int) -> tuple[msgspec.Raw, ...]:
    """The entries of a JSON array, or `RefusalError`."""
    body = bytearray()
    async for chunk in _chunks(receive):
        body += chunk
        if len(body) > most:
            raise RefusalError("body-too-large")
    if not body:
        raise RefusalError("empty-body")
    try:
        return msgspec.json.decode(bytes(body), type=tuple[msgspec.Raw, ...])
    except msgspec.ValidationError:
        raise RefusalError("not-the-schema") from None
    except UnicodeDecodeError:
        raise RefusalError("not-utf8") from None
    except RecursionError:
        raise RefusalError("nested-too-deeply") from None
    except msgspec.DecodeError:
        raise RefusalError("malformed-json") from None


async def _of_array(entries: tuple[msgspec.Raw, ...]) -> AsyncIterator[tuple[int, bytes | None]]:
    for number, entry in enumerate(entries, 1):
        yield number, bytes(entry)
