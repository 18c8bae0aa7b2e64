"""How much work a process takes on, and how much each caller may ask for.

Work is counted from the moment a body is complete until its answer is made. Idle connections and
half-sent bodies are no work. One request is worked on at a time, and between two of them the
loop reads what has arrived, so that a refusal never waits behind the queue. Slow work has a lane
of its own and is done in a thread, so that decisions need not wait for it.
"""

import asyncio
import mmap
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from msgspec import Struct

from service.web.keys import MAX_KEYS

WINDOW_S = 60
"""Quotas count within whole minutes of the clock."""


class Work:
    """The queue of one process: at most `most` requests, waiting or worked on."""

    def __init__(self, most: int, most_bulk: int) -> None:
        self._most = most
        self._most_bulk = most_bulk
        self._held = 0
        self._bulk = 0
        self._slow = 0
        self._most_slow = max(1, most // 2)
        self._turn = asyncio.Lock()
        self._slow_turn = asyncio.Lock()

    def is_full(self, *, slow: bool = False) -> bool:
        """Whether one more request has to be refused; of the slow at most half of all are held."""
        return self._held >= self._most or (slow and self._slow >= self._most_slow)

    @asynccontextmanager
    async def turn(self) -> AsyncIterator[None]:
        """The turn of one request or of one line of a bulk request, in order of arrival."""
        self._held += 1
        try:
            async with self._turn:
                # A decision does not await. Here the loop gets to read what has arrived, so that
                # all of it is counted, and what is too much refused, before the next decision.
                await asyncio.sleep(0)
                yield
        finally:
            self._held -= 1

    @asynccontextmanager
    async def slow_turn(self) -> AsyncIterator[None]:
        """The turn of one slow request, whose handler works in a thread: one at a time."""
        self._held += 1
        self._slow += 1
        try:
            async with self._slow_turn:
                # as above: what has arrived meanwhile is counted, or refused
                await asyncio.sleep(0)
                yield
        finally:
            self._slow -= 1
            self._held -= 1

    def enter_bulk(self) -> bool:
        """Whether one more bulk request may begin; if so it is counted until `leave_bulk`."""
        if self._bulk >= self._most_bulk:
            return False
        self._bulk += 1
        return True

    def leave_bulk(self) -> None:
        """One bulk request is over."""
        self._bulk -= 1


class Left(Struct, frozen=True, kw_only=True):
    """What a caller has left of a quota."""

    allowed: bool
    limit: int
    remaining: int
    reset_s: int

    def headers(self, name: str) -> list[tuple[bytes, bytes]]:
        """`RateLimit` and `RateLimit-Policy` (IETF draft-ietf-httpapi-ratelimit-headers-10)."""
        return [
            (b"ratelimit-policy", f'"{name}";q={self.limit};w={WINDOW_S}'.encode()),
            (b"ratelimit", f'"{name}";r={self.remaining};t={self.reset_s}'.encode()),
        ]


class Quotas:
    """Requests of each key in this minute, over all workers.

    Each worker counts in its own cells of shared memory and adds up everybody's; two workers may
    let one request too many through at the same instant, never more than there are workers.
    """

    def __init__(self, workers: int = 1) -> None:
        self._workers = workers
        self._map = mmap.mmap(-1, workers * MAX_KEYS * 16)
        self._cells = memoryview(self._map).cast("Q")
        self._worker = 0

    def become(self, worker: int) -> None:
        """From now on this process counts in the cells of that worker."""
        self._worker = worker

    def ask(self, place: int, limit: int, now: float) -> Left:
        """Count one request of the key at that place of its file, and say what is left."""
        minute = int(now) // WINDOW_S
        used = sum(
            self._cells[cell + 1]
            for worker in range(self._workers)
            if self._cells[cell := self._cell(worker, place)] == minute
        )
        reset_s = WINDOW_S - int(now) % WINDOW_S
        if used >= limit:
            return Left(allowed=False, limit=limit, remaining=0, reset_s=reset_s)
        cell = self._cell(self._worker, place)
        if self._cells[cell] != minute:
            self._cells[cell + 1] = 0
            self._cells[cell] = minute
        self._cells[cell + 1] += 1
        return Left(allowed=True, limit=limit, remaining=limit - used - 1, reset_s=reset_s)

    def _cell(self, worker: int, place: int) -> int:
        return (worker * MAX_KEYS + place) * 2
