"""What an operator may set, with its bounds and its default: closed and small by default."""

from typing import Annotated

from msgspec import Meta, Struct


class Settings(Struct, frozen=True, kw_only=True):
    """How one process serves."""

    host: str = "127.0.0.1"
    port: Annotated[int, Meta(ge=1, le=65535)] = 8000
    max_body_bytes: Annotated[int, Meta(ge=1024)] = 256 * 1024
    """A request body above this is refused with 413, before it is read whole."""
    stop_after_s: Annotated[int, Meta(ge=1, le=600)] = 10
    """How long a stopping server waits for requests that it has already accepted."""
