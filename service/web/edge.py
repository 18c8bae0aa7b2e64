"""The outermost layer: who may call, how much, and what every answer, log and metric says.

A plain ASGI wrapper, because the framework runs no middleware where no route matches.
"""

import re
import time
from collections.abc import Mapping
from pathlib import Path

import msgspec
from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPReceiveMessage, HTTPScope, Receive, Scope, Send
from msgspec import Struct

from service.model.graph import Pack
from service.web.guard import RawHeaders
from service.web.keys import KeyRing
from service.web.log import Log, RequestLine
from service.web.media import PDF_MEDIA
from service.web.metrics import NO_ROUTE
from service.web.outgoing import Outgoing, accepts_gzip
from service.web.problems import PROBLEM_MEDIA, PROBLEMS, problem_of
from service.web.retiring import RETIRING, Retirement
from service.web.running import Running
from service.web.settings import Settings
from service.web.trace import Record, Trace, trace_of

BULK = "/v1/bulk/plan"
PLAN = "/v1/plan"
PDF = PDF_MEDIA.encode()
INCLUDES = re.compile(rb'"include"\s*:\s*\[\s*"')
SLOW = ("/embed", "/kiosk", "/v1/next-check", "/v1/review", "/v1/series")
"""Paths whose answers take many decisions, or may: the last page of a visit does."""
OPEN_TO_ALL = (
    "/.well-known/api-catalog",
    "/.well-known/security.txt",
    "/livez",
    "/openapi.json",
    "/problems",
    "/readyz",
)
"""Paths that need no key: what a caller needs to find out that a key is needed."""
RETRY_AFTER_S = 1
_BEARER = b"bearer "


class _Call(Struct):
    """What is known of one request while it is answered."""

    headers: dict[bytes, bytes]
    hosts: int
    trace: Trace
    extra: RawHeaders
    bytes_in: int = 0
    key: str = ""


class Edge:
    """The application as the server sees it."""

    def __init__(
        self,
        inner: ASGIApp,
        *,
        pack: Pack,
        settings: Settings,
        running: Running,
        common: RawHeaders,
        body_limits: Mapping[str, int],
        retiring: Mapping[str, Retirement] = RETIRING,
    ) -> None:
        self._inner = inner
        self._pack = pack.digest[:12]
        self._settings = settings
        self._body_limits = body_limits
        self._retiring = retiring
        self._keys = KeyRing(Path(settings.keys_file)) if settings.keys_file else None
        self._origins = {origin.encode() for origin in settings.allow_origins}
        self._log = Log(requests=settings.log == "requests")
        self.running = running
        self.common = common
        self.record: Record | None = None
        """Told each answered request, where spans are wanted."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, count it, and log it."""
        if scope["type"] != ScopeType.HTTP:
            await self._inner(scope, receive, send)
            return
        began = time.perf_counter()
        call = self._seen(scope)
        out = Outgoing(
            send,
            scope,
            call.extra,
            self._settings.allow_frames,
            accepts_gzip(call.headers.get(b"accept-encoding", b"")),
        )
        metrics = self.running.metrics
        metrics.count("in_flight", "")
        try:
            await self._answer(call, scope, receive, out)
        finally:
            metrics.count("in_flight", "", -1.0)
            took_s = time.perf_counter() - began
            route = scope.get("path_template") or NO_ROUTE
            if out.status:
                metrics.answered(route, out.status, took_s)
                if self.record is not None:
                    self.record(call.trace, route, scope["method"], out.status, took_s)
                self._log.request(
                    RequestLine(
                        at=round(time.time(), 3),
                        route=route,
                        method=scope["method"] if route != NO_ROUTE else "",
                        status=out.status,
                        ms=round(took_s * 1000, 2),
                        bytes_in=call.bytes_in,
                        bytes_out=out.bytes_out,
                        trace=call.trace.trace,
                        span=call.trace.span,
                        key=call.key,
                        pack=self._pack,
                    )
                )

    def _seen(self, scope: HTTPScope) -> _Call:
        headers = dict(scope["headers"])
        trace = trace_of(headers.get(b"traceparent"), sampled=self.record is not None)
        extra = [*self.common, (b"traceresponse", trace.response())]
        if self.running.life.draining:
            extra.append((b"connection", b"close"))
        origin = headers.get(b"origin")
        if self._origins:
            extra.append((b"vary", b"Origin"))
            if origin in self._origins:
                extra.append((b"access-control-allow-origin", origin))
                extra.append((b"access-control-expose-headers", b"*"))
        hosts = sum(name == b"host" for name, _ in scope["headers"])
        return _Call(headers=headers, hosts=hosts, trace=trace, extra=extra)

    async def _answer(
        self, call: _Call, scope: HTTPScope, receive: Receive, send: Outgoing
    ) -> None:
        if not _is_addressed(call, scope["http_version"]):
            await refuse(send, "bad-request")
        elif self._is_preflight(call, scope):
            await self._allow_origin(send)
        elif await self._may_call(call, scope, send):
            retirement = self._retiring.get(scope["path"])
            if retirement is not None:
                call.extra.extend(retirement.headers())
            if scope["path"] == BULK or scope["method"] != "POST":
                await self._inner(scope, receive, send)
            else:
                await self._decide(call, scope, receive, send)

    def _is_preflight(self, call: _Call, scope: HTTPScope) -> bool:
        return (
            scope["method"] == "OPTIONS"
            and b"access-control-request-method" in call.headers
            and call.headers.get(b"origin") in self._origins
        )

    async def _allow_origin(self, send: Outgoing) -> None:
        headers = [
            (b"access-control-allow-methods", b"GET, HEAD, POST"),
            (b"access-control-allow-headers", b"authorization, content-type, traceparent"),
            (b"access-control-max-age", b"600"),
            (b"cache-control", b"no-store"),
        ]
        await send({"type": "http.response.start", "status": 204, "headers": headers})
        await send({"type": "http.response.body", "body": b"", "more_body": False})

    async def _may_call(self, call: _Call, scope: HTTPScope, send: Outgoing) -> bool:
        """Whether a key allows the call; if not, the refusal has been sent."""
        if self._keys is None or _is_open(scope["path"]):
            return True
        now = time.time()
        presented = call.headers.get(b"authorization", b"")
        found = None
        if presented[: len(_BEARER)].lower() == _BEARER:
            found = self._keys.find(presented[len(_BEARER) :].strip(), now)
        if found is None:
            await refuse(send, "not-authorised", [(b"www-authenticate", b"Bearer")])
            return False
        place, key = found
        call.key = key.name
        if key.per_minute is None:
            return True
        left = self.running.quotas.ask(place, key.per_minute, now)
        call.extra.extend(left.headers(key.name))
        if not left.allowed:
            await refuse(send, "quota-used-up", [(b"retry-after", str(left.reset_s).encode())])
        return left.allowed

    async def _decide(
        self, call: _Call, scope: HTTPScope, receive: Receive, send: Outgoing
    ) -> None:
        """Take the body in, wait for the turn, and pass both on; or refuse at once."""
        most = self._body_limits.get(scope["path"], self._settings.max_body_bytes)
        if int(call.headers.get(b"content-length", b"0")) > most:
            await refuse(send, "body-too-large")
            return
        if self.running.work.is_full():
            await self._shed(send)
            return
        body = bytearray()
        more = True
        while more:
            message = await receive()
            if message["type"] != "http.request":
                return
            body += message["body"]
            more = message["more_body"]
            if len(body) > most:
                await refuse(send, "body-too-large")
                return
        call.bytes_in = len(body)
        accept = call.headers.get(b"accept", b"")
        work, slow = self.running.work, _is_slow(scope["path"], body, accept)
        if work.is_full(slow=slow):
            await self._shed(send)
            return
        async with work.slow_turn() if slow else work.turn():
            await self._inner(scope, _replay(bytes(body), receive), send)

    async def _shed(self, send: Outgoing) -> None:
        self.running.metrics.count("shed", "work")
        await refuse(send, "too-much-work", [(b"retry-after", str(RETRY_AFTER_S).encode())])


def _is_slow(path: str, body: bytearray, accept: bytes) -> bool:
    """Whether a request asks for much work, which its handler does in a thread.

    A plan does where it asks for more than the plan, or for paper. Its body is not decoded here:
    who spells the field in another way waits for a turn that others wait behind, and is answered
    all the same. An empty list asks for nothing: typed clients send every field.
    """
    if path != PLAN:
        return path in SLOW
    return PDF in accept or INCLUDES.search(body) is not None


def _is_addressed(call: _Call, version: str) -> bool:
    """Whether a request names its host as its version of HTTP demands (RFC 9112, 3.2)."""
    return call.hosts == 1 or (call.hosts == 0 and version == "1.0")


def _is_open(path: str) -> bool:
    return path in (*OPEN_TO_ALL, "/") or path.startswith(("/assets/", "/docs", "/problems/"))


def _replay(body: bytes, receive: Receive) -> Receive:
    """The `receive` of a request whose body is here already."""
    given = False

    async def again() -> HTTPReceiveMessage:
        nonlocal given
        if given:
            return await receive()  # type: ignore[return-value]
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


async def refuse(send: Send, problem: str, headers: RawHeaders | None = None) -> None:
    """Send one problem as a whole answer."""
    kind = PROBLEMS[problem]
    body = msgspec.json.encode(problem_of(kind, ()))
    own = [
        (b"content-type", PROBLEM_MEDIA.encode()),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        *(headers or []),
    ]
    await send({"type": "http.response.start", "status": kind.status, "headers": own})
    await send({"type": "http.response.body", "body": body, "more_body": False})
