"""Log lines as JSON, by allow-list: a line can hold only what its struct has a field for.

Nothing that a caller sent fits into one: no path, no query, no header, no body; the route is the
template that matched. The server's own messages leave their text without its arguments.
"""

import logging
import sys
import time
from typing import TextIO

import msgspec
from msgspec import Struct

_ENCODER = msgspec.json.Encoder()


class RequestLine(Struct, frozen=True, kw_only=True, tag_field="event", tag="request"):
    """One request that was answered."""

    at: float
    """Seconds since 1970."""
    route: str
    method: str
    status: int
    ms: float
    bytes_in: int
    bytes_out: int
    trace: str
    span: str
    key: str
    """Name of the API key, or empty."""
    pack: str
    """First characters of its digest."""


class ServiceLine(Struct, frozen=True, kw_only=True, tag_field="event", tag="service"):
    """Something that happened to the process itself."""

    at: float
    says: str
    level: str
    where: tuple[str, ...] = ()
    """Places in the code, innermost last."""


class Log:
    """Writes lines to a stream, whole lines in one write each."""

    def __init__(self, stream: TextIO | None = None, *, requests: bool = True) -> None:
        self._stream = stream
        self._requests = requests

    def request(self, line: RequestLine) -> None:
        """Write one request, if requests are logged or this one failed by our fault."""
        if self._requests or line.status in (500, 503):
            self._write(line)

    def service(self, says: str, level: str = "info") -> None:
        """Write one event of the process."""
        self._write(ServiceLine(at=round(time.time(), 3), says=says, level=level))

    def _write(self, line: RequestLine | ServiceLine) -> None:
        stream = self._stream or sys.stderr
        try:
            stream.write(_ENCODER.encode(line).decode() + "\n")
            stream.flush()
        except (OSError, ValueError):
            # A log that cannot be written must not take a request with it.
            return


class AllowListHandler(logging.Handler):
    """Turns records of the standard logging into service lines.

    Our own texts are written as they are; of everybody else's the text is written without its
    arguments and without the message of an exception, which could hold what a caller sent.
    """

    def emit(self, record: logging.LogRecord) -> None:
        """Write one record."""
        ours = record.name == "movewright"
        lines = record.getMessage().splitlines() if ours else [str(record.msg).strip()]
        if record.exc_info and record.exc_info[0] is not None and not ours:
            lines[0] += f" ({record.exc_info[0].__name__})"
        line = ServiceLine(
            at=round(record.created, 3),
            says=lines[0],
            level=record.levelname.lower(),
            where=tuple(text.strip() for text in lines[1:]),
        )
        try:
            sys.stderr.write(_ENCODER.encode(line).decode() + "\n")
            sys.stderr.flush()
        except (OSError, ValueError):
            return


def log_by_allow_list() -> None:
    """Send every record of this process through the allow-list."""
    root = logging.getLogger()
    root.handlers[:] = [AllowListHandler()]
    root.setLevel(logging.WARNING)
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):
        logger = logging.getLogger(name)
        logger.handlers.clear()
        logger.propagate = True
