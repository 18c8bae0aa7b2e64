"""Requests read strictly: media types, encodings and forms are checked before any body is.

Rests on how the pinned framework calls `body` and `json`, which it does not document; the tests
of this room hold it.
"""

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


class ScreenRequest(Request[object, object, State]):
    """A request whose body is a screen, decoded once, straight into its struct."""

    async def body(self) -> bytes:
        """The raw body, or `RefusalError` where the headers say that it is not plain JSON."""
        check_content(self.headers.get("content-type"), self.headers.get("content-encoding"))
        raw = await super().body()
        if not raw:
            raise RefusalError("empty-body")
        return raw

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
    """Nothing, or `RefusalError`: runs before every handler."""
    accept = request.headers.get("accept")
    media = SVG_MEDIA if request.url.path.endswith(f"/{PICTURE}") else JSON_MEDIA
    if accept is not None and not accepts(accept, media):
        raise RefusalError("not-acceptable")
    if request.scope["query_string"]:
        raise RefusalError("unknown-query")


def accepts(accept: str, media: str) -> bool:
    """Whether an Accept header leaves room for a media type (RFC 9110, 12.5.1).

    The most exact range decides; a quality of 0 rules it out. An empty header accepts all.
    """
    if accept in ("", "*/*", media):
        return True
    ranges = ("*/*", f"{media.partition('/')[0]}/*", media)
    best: tuple[int, bool] = (-1, False)
    for entry in accept.split(","):
        kind, *parameters = [part.strip().lower() for part in entry.split(";")]
        if kind in ranges:
            best = max(best, (ranges.index(kind), _quality(parameters) > 0))
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
