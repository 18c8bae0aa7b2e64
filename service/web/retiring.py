"""Which routes are on their way out, and since when: what their answers say about it.

Empty while nothing is. A route is entered here a release before it goes.
"""

from collections.abc import Mapping
from datetime import datetime
from email.utils import format_datetime

from msgspec import Struct


class Retirement(Struct, frozen=True, kw_only=True):
    """When a route was deprecated, when it goes, and the page that says what to use instead."""

    deprecated: datetime
    sunset: datetime
    page: str

    def headers(self) -> list[tuple[bytes, bytes]]:
        """`Deprecation` (RFC 9745), `Sunset` (RFC 8594) and the link to the page."""
        return [
            (b"deprecation", f"@{int(self.deprecated.timestamp())}".encode()),
            (b"sunset", format_datetime(self.sunset, usegmt=True).encode()),
            (b"link", f'<{self.page}>; rel="deprecation"; type="text/html"'.encode()),
        ]


RETIRING: Mapping[str, Retirement] = {}
"""Path as in the contract -> its retirement. Times are in UTC."""
