"""A card as PDF, where the library for it is installed; the same card gives the same bytes."""

from collections.abc import Callable
from hashlib import sha256
from importlib.util import find_spec

PDF_LIBRARY = "weasyprint"
"""Comes with the extra `pdf`."""


def pdf_writer() -> Callable[[str], bytes] | None:
    """What turns a page into a PDF, None where the extra is not installed."""
    return _written if find_spec(PDF_LIBRARY) else None


def _written(html: str) -> bytes:
    # takes most of a second to load, and most services never make a PDF
    from weasyprint import HTML  # type: ignore[import-untyped]

    def nothing_else(url: str) -> dict[str, object]:
        raise ValueError("a card loads nothing")

    page = HTML(string=html, url_fetcher=nothing_else)
    identity = sha256(html.encode()).digest()[:16]
    written: bytes = page.write_pdf(pdf_identifier=identity)
    return written
