"""The HTTP protocol with bounds: how long a request may take, how large its head may be.

What the server would answer as plain text, or not at all, is a problem here, with the headers
that every other answer has. Rests on the internals of the pinned server; the attack suite holds
it.
"""

import asyncio
import http
from collections.abc import Callable, Mapping

import msgspec
from uvicorn.config import Config
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol
from uvicorn.server import ServerState

from service.web.problems import PROBLEM_MEDIA, PROBLEMS, problem_of
from service.web.settings import Settings
from service.web.whole import WholeAnswers

LINGER_S = 1.0
"""How long what is still being sent is read and dropped, so that the answer arrives first."""
BULK_PATH = b"/v1/bulk/"
RawHeaders = list[tuple[bytes, bytes]]


class TooMuchError(Exception):
    """The head of a request passed a bound; `problem` says which."""

    def __init__(self, problem: str) -> None:
        super().__init__(problem)
        self.problem = problem


class GuardedProtocol(HttpToolsProtocol):
    """One connection, bounded. `guarded` makes the class that a server uses."""

    settings: Settings
    common: RawHeaders
    refused: Callable[[str], None]

    def __init__(
        self,
        config: Config,
        server_state: ServerState,
        app_state: dict[str, object],
        _loop: asyncio.AbstractEventLoop | None = None,
    ) -> None:
        super().__init__(config, server_state, app_state, _loop)
        self._receive_by: asyncio.TimerHandle | None = None
        self._send_by: asyncio.TimerHandle | None = None
        self._receiving = False
        self._refusing = False
        self._head = 0
        self._too_much = ""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start the clock: a connection that says nothing is closed."""
        super().connection_made(WholeAnswers(transport, self.loop))
        self._arm()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop both clocks."""
        self._disarm()
        self.resume_sending()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Parse, unless this connection was refused: then the bytes are dropped."""
        if self._refusing:
            return
        if self._receive_by is None:
            self._arm()
        elif self._receiving and self._is_bulk():
            # A bulk body may take as long as it needs, as long as it comes.
            self._disarm()
            self._arm()
        super().data_received(data)

    def on_message_begin(self) -> None:
        """A request begins: count its head."""
        self._receiving = True
        self._head = 0
        super().on_message_begin()

    def on_url(self, url: bytes) -> None:
        """A piece of the path."""
        super().on_url(url)
        if len(self.url) > self.settings.max_url_bytes:
            self._stop("url-too-long")
        self._count(len(url))

    def on_header(self, name: bytes, value: bytes) -> None:
        """One header."""
        self._count(len(name) + len(value) + 4)
        super().on_header(name, value)
        if len(self.headers) > self.settings.max_headers:
            self._stop("headers-too-large")

    def on_message_complete(self) -> None:
        """The request is here whole: stop the clock."""
        self._receiving = False
        self._disarm()
        super().on_message_complete()

    def send_400_response(self, msg: str) -> None:
        """Answer what the parser refused; an earlier request of the connection comes first."""
        problem, self._too_much = self._too_much or "bad-request", ""
        cycle = self.cycle
        if cycle is not None and not cycle.response_complete and not cycle.more_body:
            cycle.keep_alive = False
            self._refusing = True
            self._disarm()
            return
        self._refuse(problem)

    def pause_writing(self) -> None:
        """The caller reads too slowly: start the clock of the answer."""
        super().pause_writing()
        self._send_by = self.loop.call_later(self.settings.send_within_s, self.transport.abort)

    def resume_writing(self) -> None:
        """The caller reads again."""
        self.resume_sending()
        super().resume_writing()

    def resume_sending(self) -> None:
        """Stop the clock of the answer."""
        if self._send_by is not None:
            self._send_by.cancel()
            self._send_by = None

    def hurry(self, seconds: float) -> None:
        """A request that is still on its way gets only so much more time."""
        if self._receiving and self._receive_by is not None:
            self._receive_by.cancel()
            self._receive_by = self.loop.call_later(seconds, self._expire)

    def _is_bulk(self) -> bool:
        return self.url.startswith(BULK_PATH) and self.cycle is not None

    def _count(self, size: int) -> None:
        self._head += size
        if self._head > self.settings.max_header_bytes:
            self._stop("headers-too-large")

    def _stop(self, problem: str) -> None:
        # The parser turns any error of a callback into one of its own, without its message.
        self._too_much = problem
        raise TooMuchError(problem)

    def _arm(self) -> None:
        self._receive_by = self.loop.call_later(self.settings.receive_within_s, self._expire)

    def _disarm(self) -> None:
        if self._receive_by is not None:
            self._receive_by.cancel()
            self._receive_by = None

    def _expire(self) -> None:
        self._receive_by = None
        if self.transport is None or self.transport.is_closing():
            return
        if self.flow.read_paused:
            # It is we who do not read: the caller is not slow.
            self._arm()
        elif not self._receiving or (self.cycle is not None and self.cycle.response_started):
            self.transport.close()
        else:
            self._refuse("receive-timeout")

    def _refuse(self, problem: str) -> None:
        """Write one problem, say that no more follows, and drop what still comes for a moment."""
        self._disarm()
        self._refusing = True
        self.refused(problem)
        self.transport.write(raw_problem(problem, self.common))
        if self.transport.can_write_eof():
            self.transport.write_eof()
        self.loop.call_later(LINGER_S, self.transport.close)


def guarded(
    settings: Settings, common: RawHeaders, refused: Callable[[str], None]
) -> type[GuardedProtocol]:
    """The protocol class of one server; `refused` is told the problem of each refusal."""
    return type(
        "BoundProtocol",
        (GuardedProtocol,),
        {"settings": settings, "common": common, "refused": staticmethod(refused)},
    )


def raw_problem(problem: str, common: RawHeaders) -> bytes:
    """A whole HTTP answer for one problem, after which the connection closes."""
    kind = PROBLEMS[problem]
    body = msgspec.json.encode(problem_of(kind, ()))
    own: Mapping[bytes, bytes] = {
        b"content-type": PROBLEM_MEDIA.encode(),
        b"content-length": str(len(body)).encode(),
        b"cache-control": b"no-store",
        b"connection": b"close",
    }
    head = [f"HTTP/1.1 {kind.status} {http.HTTPStatus(kind.status).phrase}".encode()]
    head += [name + b": " + value for name, value in (*own.items(), *common)]
    return b"\r\n".join(head) + b"\r\n\r\n" + body
