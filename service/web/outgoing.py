"""What leaves on every answer: versions, links, security headers, and compression of large ones."""

import zlib
from collections.abc import Sequence
from functools import lru_cache

from litestar.types import HTTPScope, Message, Send

from service import __version__
from service.engine.plan import CONTRACT
from service.model.graph import Pack
from service.web.settings import Settings

RawHeaders = list[tuple[bytes, bytes]]

COMPRESS_FROM = 4096
"""Below this many bytes compression costs more than it saves."""
_LEVEL = 1
_COMPRESSED = ("application/json", "application/linkset+json", "image/svg+xml", "text/")

HEADERS: dict[str, str] = {
    "Content-Security-Policy": "Nothing may be loaded by an answer that is opened as a page.",
    "Link": "Where the contract, the documentation and the API catalogue are.",
    "Movewright-Contract": "Version of the contract.",
    "Movewright-Pack": "Version and digest of the knowledge that answers.",
    "Movewright-Service": "Version of the service that answers.",
    "Referrer-Policy": "Links in an answer do not tell where they were followed from.",
    "Traceresponse": "The trace and span of this answer (W3C Trace Context); not on refusals of "
    "the parser.",
    "X-Content-Type-Options": "The media type is what it says.",
}
"""Header -> what it says. On every answer."""

SOMETIMES: dict[str, str] = {
    "Access-Control-Allow-Origin": "The web origin that may read the answer, if it is allowed.",
    "Connection": "close on a refusal of the parser and while the process drains.",
    "Content-Encoding": "gzip on a large answer where Accept-Encoding allows it.",
    "Cross-Origin-Resource-Policy": "same-origin, unless web origins are allowed.",
    "Deprecation": "Since when the route is deprecated (RFC 9745).",
    "RateLimit": "What is left of the quota of the key, and the seconds until it is whole again.",
    "RateLimit-Policy": "The quota of the key: requests, and seconds of its window.",
    "Retry-After": "Seconds to wait after 429 and 503.",
    "Sunset": "When the route goes (RFC 8594).",
    "WWW-Authenticate": "Which credentials are needed, on 401.",
    "X-Frame-Options": "DENY, except on /embed where web origins may frame it.",
}
"""Header -> what it says. Where it applies."""


def common_headers(pack: Pack, settings: Settings, *, has_docs: bool) -> RawHeaders:
    """The headers of every answer, refusals of the parser included."""
    links = [
        '</openapi.json>; rel="service-desc"; type="application/json"',
        '</.well-known/api-catalog>; rel="api-catalog"; type="application/linkset+json"',
    ]
    if has_docs:
        links.append('</docs>; rel="service-doc"; type="text/html"')
    reach = b"cross-origin" if settings.allow_origins else b"same-origin"
    return [
        (b"cross-origin-resource-policy", reach),
        (b"link", ", ".join(links).encode()),
        (b"movewright-contract", CONTRACT.encode()),
        (b"movewright-pack", f"{pack.version}; digest={pack.digest}".encode()),
        (b"movewright-service", __version__.encode()),
        (b"referrer-policy", b"no-referrer"),
        (b"x-content-type-options", b"nosniff"),
    ]


def frame_headers(path: str, allowed: Sequence[str], *, has_policy: bool) -> RawHeaders:
    """Who may frame an answer: nobody, or on /embed the allowed origins."""
    own = b"" if has_policy else b"default-src 'none'; "
    if path == "/embed" and allowed:
        return [
            (b"content-security-policy", own + b"frame-ancestors " + " ".join(allowed).encode())
        ]
    return [
        (b"content-security-policy", own + b"frame-ancestors 'none'"),
        (b"x-frame-options", b"DENY"),
    ]


class Outgoing:
    """The `send` of one request: adds headers, compresses, and keeps count of what left."""

    def __init__(
        self, send: Send, scope: HTTPScope, extra: RawHeaders, frames: Sequence[str], gzip: bool
    ) -> None:
        self._send = send
        self._scope = scope
        self._extra = extra
        self._frames = frames
        self._gzip = gzip
        self._held: Message | None = None
        self.status = 0
        self.bytes_out = 0

    async def __call__(self, message: Message) -> None:
        """Pass one message on."""
        if message["type"] == "http.response.start":
            self.status = message["status"]
            has_policy = any(name == b"content-security-policy" for name, _ in message["headers"])
            framed = frame_headers(self._scope["path"], self._frames, has_policy=has_policy)
            message["headers"] = [*message["headers"], *framed, *self._extra]
            if self._gzip and self.status == 200:
                self._held = message
                return
        elif message["type"] == "http.response.body":
            start, self._held = self._held, None
            if start is not None and start["type"] == "http.response.start":
                headers, body = list(start["headers"]), message["body"]
                if not message["more_body"] and _is_worth_it(headers, body):
                    message["body"] = _packed(headers, body)
                    start["headers"] = _packed_headers(headers, len(message["body"]))
                await self._send(start)
            self.bytes_out += len(message["body"])
        await self._send(message)


def accepts_gzip(header: bytes) -> bool:
    """Whether an Accept-Encoding header allows gzip (RFC 9110, 12.5.3)."""
    for entry in header.lower().split(b","):
        coding, _, weight = entry.partition(b";")
        if coding.strip() in (b"gzip", b"x-gzip"):
            quality = weight.strip().removeprefix(b"q=").rstrip(b"0").rstrip(b".")
            return not weight.strip() or quality not in (b"", b"0")
    return False


def _is_worth_it(headers: RawHeaders, body: bytes) -> bool:
    if len(body) < COMPRESS_FROM:
        return False
    media = next((value for name, value in headers if name == b"content-type"), b"")
    return media.decode("latin-1").startswith(_COMPRESSED)


def _packed(headers: RawHeaders, body: bytes) -> bytes:
    """The body in gzip; documents that stay are compressed once."""
    stays = any(name == b"etag" for name, _ in headers)
    return _packed_document(body) if stays else _deflated(body, _LEVEL)


@lru_cache(maxsize=64)
def _packed_document(body: bytes) -> bytes:
    return _deflated(body, 6)


def _deflated(body: bytes, level: int) -> bytes:
    packer = zlib.compressobj(level, wbits=31)
    return packer.compress(body) + packer.flush()


def _packed_headers(headers: RawHeaders, length: int) -> RawHeaders:
    """The headers of the compressed body. Its ETag is weak: the same document, other bytes."""
    kept = [
        (name, b"W/" + value if name == b"etag" else value)
        for name, value in headers
        if name != b"content-length"
    ]
    return [
        *kept,
        (b"content-encoding", b"gzip"),
        (b"content-length", str(length).encode()),
        (b"vary", b"Accept-Encoding"),
    ]
