"""What is worked out once for a pack and kept: caches of pure functions, found by identity.

Apart from their users because all keep in the same way: a pack is frozen and stays alive here, so
its identity is its value; comparing whole packs on each request would cost more than the work.
"""

from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

_Pack = TypeVar("_Pack")
_Made = TypeVar("_Made")
AT_MOST = 4
"""Packs that one keeper remembers; a process serves one, in each of its languages."""


class Keeper(Generic[_Pack, _Made]):
    """Makes one thing for each pack, and gives the same again while the pack is among the last."""

    def __init__(self, make: Callable[[_Pack], _Made]) -> None:
        self._make = make
        self._held: list[tuple[_Pack, _Made]] = []

    def of(self, pack: _Pack) -> _Made:
        """Return what is kept for the pack, made now if it is new."""
        for known, made in self._held:
            if known is pack:
                return made
        made = self._make(pack)
        # one assignment, so that a reader in another thread sees the old list or the new one
        self._held = [*self._held, (pack, made)][-AT_MOST:]
        return made


class Bounded(Generic[_Made]):
    """What is made again and again for a pack; before it is too much all of it is dropped."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._held: dict[Hashable, _Made] = {}

    def get(self, key: Hashable) -> _Made | None:
        """Return what is kept, None where nothing is."""
        return self._held.get(key)

    def keep(self, key: Hashable, made: _Made) -> _Made:
        """Return what was made, kept for the next time."""
        if len(self._held) >= self._most:
            self._held.clear()
        self._held[key] = made
        return made
