"""API keys: who may call, from a file that holds only their digests.

A key is 256 random bits, so one SHA-256 is enough to keep it; a slow hash protects what people
choose, and nobody chooses these. The file is read again when it changes, without a restart.
"""

import hmac
import logging
import secrets
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Annotated

import msgspec
from msgspec import Meta, Struct

from service.model.errors import SettingError

_LOG = logging.getLogger("movewright")
MARK = "mw_"
"""Every key starts with it, so that scanners for leaked secrets can know one."""
MAX_KEYS = 256
LOOK_AGAIN_S = 1.0
"""How long a key that was taken out of the file may still be served."""


class Key(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One caller. Without `expires` the key does not expire; without `per_minute` no quota."""

    name: Annotated[str, Meta(min_length=1, max_length=64, pattern=r"^[a-z0-9_-]+$(?!\n)")]
    sha256: Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$(?!\n)")]
    expires: datetime | None = None
    per_minute: Annotated[int, Meta(ge=1, le=10**9)] | None = None


class KeyFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The file: an array of tables named `keys`."""

    keys: Annotated[tuple[Key, ...], Meta(min_length=1, max_length=MAX_KEYS)]


def new_key(name: str) -> tuple[str, str]:
    """A fresh key, and its entry for the file."""
    key = MARK + secrets.token_urlsafe(32)
    return key, f'[[keys]]\nname = "{name}"\nsha256 = "{digest_of(key)}"\n'


def digest_of(key: str) -> str:
    """What the file holds of a key."""
    return sha256(key.encode()).hexdigest()


def read_keys(path: Path) -> tuple[Key, ...]:
    """The keys of a file in its order, or `SettingError` that says what is wrong with it."""
    try:
        keys = msgspec.toml.decode(path.read_bytes(), type=KeyFile).keys
    except OSError as error:
        raise SettingError(f"keys file `{path}`: {error.strerror}") from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise SettingError(f"keys file `{path}`: {error}") from None
    names = [key.name for key in keys]
    if len(set(names)) < len(names):
        raise SettingError(f"keys file `{path}`: two keys have one name; names tell keys apart")
    for key in keys:
        if key.expires is not None and key.expires.tzinfo is None:
            raise SettingError(
                f"keys file `{path}`: `{key.name}` expires at a time without a zone; "
                "write it as 2027-01-31T00:00:00Z"
            )
    return keys


class KeyRing:
    """The keys that are valid now. Time is an argument: seconds since 1970."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._keys = read_keys(path)
        self._digests = tuple(key.sha256.encode() for key in self._keys)
        self._stamp = self._stamped()
        self._looked = 0.0

    def find(self, presented: bytes, now: float) -> tuple[int, Key] | None:
        """The key that was presented and its place in the file, or None.

        Every digest is compared, each in constant time: neither which key nor how much of it
        is right can be told from the time.
        """
        self._refresh(now)
        digest = sha256(presented).hexdigest().encode()
        found = -1
        for place, held in enumerate(self._digests):
            if hmac.compare_digest(held, digest):
                found = place
        if found < 0:
            return None
        key = self._keys[found]
        if key.expires is not None and key.expires <= datetime.fromtimestamp(now, UTC):
            return None
        return found, key

    def _refresh(self, now: float) -> None:
        if abs(now - self._looked) < LOOK_AGAIN_S:
            return
        self._looked = now
        stamp = self._stamped()
        if stamp == self._stamp:
            return
        self._stamp = stamp
        try:
            self._keys = read_keys(self._path)
        except SettingError:
            # A file half written must not lock every caller out.
            _LOG.error("the keys file cannot be read; the keys from before stay valid")
            return
        self._digests = tuple(key.sha256.encode() for key in self._keys)
        _LOG.warning("the keys file was read again")

    def _stamped(self) -> tuple[int, int, int]:
        try:
            found = self._path.stat()
        except OSError:
            return (0, 0, 0)
        return (found.st_mtime_ns, found.st_size, found.st_ino)
