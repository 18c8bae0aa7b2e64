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
_ACCEPTED = frozenset({JSON_MEDIA, "application/*", "*/*"})
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
    if accept is not None and not accepts_json(accept):
        raise RefusalError("not-acceptable")
    if request.scope["query_string"]:
        raise RefusalError("unknown-query")


def accepts_json(accept: str) -> bool:
    """Whether an Accept header leaves room for JSON (RFC 9110, 12.5.1).

    The most exact range decides; a quality of 0 rules it out. An empty header accepts all.
    """
    if accept in ("", "*/*", JSON_MEDIA):
        return True
    best: tuple[int, bool] = (-1, False)
    for entry in accept.split(","):
        kind, *parameters = [part.strip().lower() for part in entry.split(";")]
        if kind in _ACCEPTED:
            exactness = ("*/*", "application/*", JSON_MEDIA).index(kind)
            best = max(best, (exactness, _quality(parameters) > 0))
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
