"""Answers that stay while the service runs: made once at the start, served with an ETag."""

from collections.abc import Mapping
from hashlib import sha256

from litestar import Request, Response
from litestar.datastructures import State
from msgspec import Struct

from service.web.request import JSON_MEDIA

ReadRequest = Request[object, object, State]


class Document(Struct, frozen=True, kw_only=True):
    """Bytes to serve, and the tag that names this version of them."""

    body: bytes
    etag: str


def document(body: bytes, version: str) -> Document:
    """The document of a body; `version` is what its content depends on besides its path."""
    return Document(body=body, etag=f'"{sha256(version.encode()).hexdigest()[:32]}"')


def of_content(body: bytes) -> Document:
    """A document that depends on nothing but itself."""
    return Document(body=body, etag=f'"{sha256(body).hexdigest()[:32]}"')


def serve(request: ReadRequest, found: Document, media: str = JSON_MEDIA) -> Response[bytes]:
    """The document, or 304 if the caller holds this version already (RFC 9110, 13.1.2)."""
    headers: Mapping[str, str] = {
        "Cache-Control": "no-cache",
        "ETag": found.etag,
        "Vary": "Accept",
    }
    held = request.headers.get("if-none-match")
    if held is not None and _holds(held, found.etag):
        return Response(b"", status_code=304, headers=headers, media_type=media)
    return Response(found.body, headers=headers, media_type=media)


def _holds(held: str, etag: str) -> bool:
    tags = [tag.strip() for tag in held.split(",")]
    return "*" in tags or any(tag.removeprefix("W/") == etag for tag in tags)
