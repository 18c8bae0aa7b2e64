"""What every read route shares: one handler for GET and HEAD together, for software and people."""

from collections.abc import Callable, Mapping

from litestar import HttpMethod, Response

from service.web.documents import Document, ReadRequest, document, serve
from service.web.media import HTML_MEDIA
from service.web.pages.html import PAGE_POLICY
from service.web.problems import RefusalError
from service.web.request import JSON_MEDIA, best_media
from service.web.shipped import assets_version

READ = (HttpMethod.GET, HttpMethod.HEAD)
PAGED = {"serves": (JSON_MEDIA, HTML_MEDIA)}
"""Of a handler whose documents a browser gets as a page."""


def found(documents: Mapping[str, Document], name: str) -> Document:
    """The document of that name, or `RefusalError` with `not-found`."""
    if name not in documents:
        raise RefusalError("not-found")
    return documents[name]


def wants_page(request: ReadRequest) -> bool:
    """Whether the caller would rather have a page than JSON, as a browser does."""
    served = (JSON_MEDIA, HTML_MEDIA)
    return best_media(request.headers.get("accept"), served) == HTML_MEDIA


def as_page(request: ReadRequest, same: Document, make: Callable[[], bytes]) -> Response[bytes]:
    """A document as a page, with a tag of its own; pages are few and made when asked for."""
    shown = document(make(), f"page {same.etag} {assets_version()}")
    answer = serve(request, shown, HTML_MEDIA)
    answer.headers["Content-Security-Policy"] = PAGE_POLICY
    return answer
