"""What every read route shares: one handler for GET and HEAD together."""

from collections.abc import Mapping

from litestar import HttpMethod

from service.web.documents import Document
from service.web.problems import RefusalError

READ = (HttpMethod.GET, HttpMethod.HEAD)


def found(documents: Mapping[str, Document], name: str) -> Document:
    """The document of that name, or `RefusalError` with `not-found`."""
    if name not in documents:
        raise RefusalError("not-found")
    return documents[name]
