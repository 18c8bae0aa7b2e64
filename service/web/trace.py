"""W3C trace context: the trace of a caller goes on, or a new one begins."""

import re
import secrets
from collections.abc import Callable

from msgspec import Struct

_PARENT = re.compile(
    rb"(?P<version>[0-9a-f]{2})-(?P<trace>[0-9a-f]{32})-(?P<span>[0-9a-f]{16})-(?P<flags>[0-9a-f]{2})"
    rb"(?P<more>-.*)?\Z"
)


class Trace(Struct, frozen=True):
    """Where one request stands in a trace: the trace, our own span, and the caller's flags."""

    trace: str
    span: str
    flags: str
    parent: str = ""
    """The caller's span; empty where the trace begins here."""

    def response(self) -> bytes:
        """The `traceresponse` header (Trace Context, level 2)."""
        return f"00-{self.trace}-{self.span}-{self.flags}".encode()


Record = Callable[[Trace, str, str, int, float], None]
"""Takes trace, route, method, status and seconds of one answered request."""


def trace_of(parent: bytes | None, *, sampled: bool = False) -> Trace:
    """The trace that a `traceparent` header names, or a new one where it is absent or not valid.

    `sampled` says whether a new one is recorded.

    Source: W3C Trace Context, level 1, section 3.2.
    """
    span = secrets.token_hex(8)
    found = _PARENT.match(parent) if parent is not None and len(parent) <= 512 else None
    if found is None or not _valid(found):
        return Trace(secrets.token_hex(16), span, "01" if sampled else "00")
    # Of the flags only "sampled" is defined at level 1; the others must be sent as zero.
    flags = int(found["flags"], 16) & 1
    return Trace(found["trace"].decode(), span, f"{flags:02x}", found["span"].decode())


def _valid(found: re.Match[bytes]) -> bool:
    if found["version"] == b"ff" or (found["version"] == b"00" and found["more"]):
        return False
    return found["trace"].strip(b"0") != b"" and found["span"].strip(b"0") != b""
