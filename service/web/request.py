"""Requests read strictly: media types, encodings and forms are checked before any body is.

Rests on how the pinned framework calls `body` and `json`, which it does not document; the tests
of this room hold it.
"""

from collections.abc import Sequence

from litestar import Request
from litestar.datastructures import State

from service.model.screen import Screen
from service.web.problems import RefusalError
from service.web.reading import Reader

JSON_MEDIA = "application/json"
SVG_MEDIA = "image/svg+xml"
PICTURE = "picture.svg"
"""Last part of the path of every picture."""
_SCREENS = Reader(Screen)


class BodyRequest(Request[object, object, State]):
    """A request whose body is plain JSON; each kind of body decodes it once, into its struct."""

    async def body(self) -> bytes:
        """The raw body, or `RefusalError` where the headers say that it is not plain JSON."""
        check_content(self.headers.get("content-type"), self.headers.get("content-encoding"))
        raw = await super().body()
        if not raw:
            raise RefusalError("empty-body")
        return raw


class ScreenRequest(BodyRequest):
    """A request whose body is a screen."""

    async def json(self) -> Screen:
        """The screen, or `RefusalError` with a pointer."""
        return _SCREENS.read(await self.body())


def check_content(media: str | None, encoding: str | None) -> None:
    """Nothing, or `RefusalError` where the body is not uncompressed JSON in UTF-8."""
    if encoding is not None and encoding.strip().lower() not in ("", "identity"):
        raise RefusalError("unsupported-encoding", headers={"Accept-Encoding": "identity"})
    if media == JSON_MEDIA:
        return
    kind, *parameters = [part.strip().lower() for part in (media or "").split(";")]
    charsets = [p.partition("=")[2].strip('"') for p in parameters if p.startswith("charset=")]
    if kind != JSON_MEDIA or any(charset not in ("utf-8", "utf8") for charset in charsets):
        raise RefusalError("unsupported-media-type", headers={"Accept": JSON_MEDIA})


async def check_request(request: Request[object, object, State]) -> None:
    """Nothing, or `RefusalError`: runs before every handler.

    A handler says in `opt` what it `serves`, plain JSON where it says nothing, and whether it
    `reads_query`; one that does checks its query itself.
    """
    opt = request.route_handler.opt
    picture = request.url.path.endswith(f"/{PICTURE}")
    served = opt.get("serves", (SVG_MEDIA,) if picture else (JSON_MEDIA,))
    if best_media(request.headers.get("accept"), served) is None:
        raise RefusalError("not-acceptable")
    if request.scope["query_string"] and not opt.get("reads_query", False):
        raise RefusalError("unknown-query")


def best_media(accept: str | None, served: Sequence[str]) -> str | None:
    """The media type to answer with: the one wanted most, ties by our own order, or None."""
    if accept in (None, "", "*/*", served[0]):
        return served[0]
    best = max(served, key=lambda media: quality(accept, media))
    return best if quality(accept, best) > 0 else None


def accepts(accept: str, media: str) -> bool:
    """Whether an Accept header leaves room for a media type."""
    return quality(accept, media) > 0


def quality(accept: str, media: str) -> float:
    """How much an Accept header wants a media type (RFC 9110, 12.5.1); 0 rules it out.

    The most exact range decides. An empty header accepts all.
    """
    if accept in ("", "*/*", media):
        return 1.0
    ranges = ("*/*", f"{media.partition('/')[0]}/*", media)
    best = (-1, 0.0)
    for entry in accept.split(","):
        kind, *parameters = [part.strip().lower() for part in entry.split(";")]
        if kind in ranges:
            best = max(best, (ranges.index(kind), _quality(parameters)))
    return best[1]


def _quality(parameters: list[str]) -> float:
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip() == "q":
            try:
                return float(value)
            except ValueError:
                return 0.0
    return 1.0
