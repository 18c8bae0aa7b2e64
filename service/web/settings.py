"""What an operator may set, with bounds, defaults and words: closed and small by default.

One table is the whole truth: `serve --help`, the environment and the text for
operators are held against it.
"""

import difflib
import ipaddress
from collections.abc import Mapping
from typing import Annotated

import msgspec
from msgspec import Meta, Struct

from service.model.errors import SettingError

PREFIX = "MOVEWRIGHT_"
"""Every setting is the name of its field in capitals, behind this."""


class Settings(Struct, frozen=True, kw_only=True):
    """How one process serves."""

    host: Annotated[str, Meta(min_length=1, max_length=255)] = "127.0.0.1"
    port: Annotated[int, Meta(ge=1, le=65535)] = 8000
    workers: Annotated[int, Meta(ge=1, le=64)] = 1
    max_body_bytes: Annotated[int, Meta(ge=1024, le=64 * 2**20)] = 256 * 1024
    max_header_bytes: Annotated[int, Meta(ge=1024, le=2**20)] = 32 * 1024
    max_headers: Annotated[int, Meta(ge=8, le=1000)] = 100
    max_url_bytes: Annotated[int, Meta(ge=64, le=64 * 1024)] = 8 * 1024
    max_bulk_lines: Annotated[int, Meta(ge=1, le=10**9)] = 1_000_000
    max_bulk_requests: Annotated[int, Meta(ge=0, le=64)] = 2
    max_work: Annotated[int, Meta(ge=1, le=10_000)] = 8
    receive_within_s: Annotated[int, Meta(ge=1, le=600)] = 10
    send_within_s: Annotated[int, Meta(ge=1, le=600)] = 30
    keep_alive_s: Annotated[int, Meta(ge=1, le=600)] = 5
    drain_wait_s: Annotated[int, Meta(ge=0, le=600)] = 0
    stop_after_s: Annotated[int, Meta(ge=1, le=600)] = 10
    keys_file: Annotated[str, Meta(max_length=4096)] = ""
    open_beyond_loopback: bool = False
    allow_origins: tuple[Annotated[str, Meta(min_length=1, max_length=255)], ...] = ()
    allow_frames: tuple[Annotated[str, Meta(min_length=1, max_length=255)], ...] = ()
    security_contact: Annotated[str, Meta(max_length=255)] = ""
    log: Annotated[str, Meta(pattern="^(requests|faults)$")] = "requests"
    otlp_endpoint: Annotated[str, Meta(max_length=1024)] = ""


WORDS: Mapping[str, str] = {
    "host": "Address to listen on.",
    "port": "Port to listen on.",
    "workers": "Processes that share the port; one that dies is started again.",
    "max_body_bytes": "Largest request body, and largest line of a bulk body.",
    "max_header_bytes": "Largest sum of request line and headers.",
    "max_headers": "Most headers of one request.",
    "max_url_bytes": "Longest path with its query.",
    "max_bulk_lines": "Most screens of one bulk request.",
    "max_bulk_requests": "Bulk requests that one process answers at the same time.",
    "max_work": "Requests with a body that one process holds, waiting or worked on; "
    "more are answered with 503, and so are more slow ones than half of it. Idle connections do "
    "not count.",
    "receive_within_s": "Seconds to receive one request; for a bulk body, seconds without a byte.",
    "send_within_s": "Seconds that a caller may leave an answer unread.",
    "keep_alive_s": "Seconds that an idle connection stays open.",
    "drain_wait_s": "Seconds between the call to stop, when /readyz turns 503, and the closing "
    "of the port.",
    "stop_after_s": "Seconds that a stopping process waits for requests it has accepted.",
    "keys_file": "File of API keys; without it every caller is served.",
    "open_beyond_loopback": "true: listen beyond the loopback without keys.",
    "allow_origins": "Web origins whose pages may call, separated by commas (https://app.example).",
    "allow_frames": "Web origins whose pages may frame /embed, separated by commas.",
    "security_contact": "Where to report a weakness (mailto: or https:), for security.txt.",
    "log": "requests: a line for each; faults: only what went wrong.",
    "otlp_endpoint": "Where OpenTelemetry spans go (OTLP over HTTP); needs the extra `otel`.",
}
"""Field -> what it sets, for help and documentation."""


def settings_of(environ: Mapping[str, str], given: Mapping[str, str | int]) -> Settings:
    """The settings of an environment, under what the command line gave.

    A wrong value or an unknown name with our prefix is a `SettingError` that names it.
    """
    values: dict[str, str | int | list[str]] = {}
    for name in sorted(environ):
        if name.startswith(PREFIX):
            values[_field(name)] = environ[name]
    values.update(given)
    for field in ("allow_origins", "allow_frames"):
        if isinstance(text := values.get(field), str):
            values[field] = [part.strip() for part in text.split(",") if part.strip()]
    chosen = Settings()
    for field, value in values.items():
        chosen = _with(chosen, field, value)
    _check_together(chosen)
    return chosen


def _field(name: str) -> str:
    field = name.removeprefix(PREFIX).lower()
    if field in WORDS:
        return field
    near = difflib.get_close_matches(field, WORDS, n=1)
    hint = f"; nearest: `{PREFIX}{near[0].upper()}`" if near else ""
    raise SettingError(f"`{name}` is no setting{hint}; `movewright serve --help` lists them")


def _with(chosen: Settings, field: str, value: str | int | list[str]) -> Settings:
    try:
        return msgspec.convert(
            {**msgspec.structs.asdict(chosen), field: value}, Settings, strict=False
        )
    except msgspec.ValidationError as error:
        reason = str(error).partition(" - at ")[0]
        raise SettingError(f"`{PREFIX}{field.upper()}`: {reason}; {WORDS[field]}") from None


def _check_together(chosen: Settings) -> None:
    for field in ("allow_origins", "allow_frames"):
        for origin in getattr(chosen, field):
            scheme, _, rest = origin.partition("://")
            if scheme not in ("http", "https") or not rest or any(c in rest for c in "/?#*; '\""):
                raise SettingError(
                    f"`{PREFIX}{field.upper()}`: `{origin}` is no origin; write it as "
                    "https://app.example, without a path or a star"
                )
    contact = chosen.security_contact
    if contact and (not contact.startswith(("mailto:", "https://")) or not contact.isprintable()):
        raise SettingError(
            f"`{PREFIX}SECURITY_CONTACT`: `{contact}` starts with neither mailto: nor https://"
        )
    if chosen.otlp_endpoint and not chosen.otlp_endpoint.startswith(("http://", "https://")):
        raise SettingError(
            f"`{PREFIX}OTLP_ENDPOINT`: `{chosen.otlp_endpoint}` starts with neither http:// nor "
            "https://"
        )
    if not (chosen.keys_file or chosen.open_beyond_loopback or is_loopback(chosen.host)):
        raise SettingError(
            f"`{PREFIX}HOST`: `{chosen.host}` can be reached from other machines, and there are "
            f"no keys: set `{PREFIX}KEYS_FILE`, or `{PREFIX}OPEN_BEYOND_LOOPBACK=true` to serve "
            "every caller"
        )


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach a listener on that address."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def settings_lines() -> tuple[str, ...]:
    """One line for each setting: its name in the environment, its default, what it sets."""
    defaults = Settings()
    return tuple(
        f"{PREFIX}{field.upper()} ({_shown(getattr(defaults, field))}): {words}"
        for field, words in WORDS.items()
    )


def _shown(value: object) -> str:
    if value in ("", ()):
        return "none"
    return str(value).lower() if isinstance(value, bool) else str(value)
