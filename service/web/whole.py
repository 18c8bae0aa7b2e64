"""A transport that sends head and body of an answer as one write, apart from the protocol above it.

The server writes the head first. Whoever is killed between the two leaves half an answer, which no
proxy can ask for again; and the second write is another call of the system.
"""

import asyncio

HEAD_ENDS = b"\r\n\r\n"


class WholeAnswers(asyncio.Transport):
    """The transport of one connection, with a head held back until what follows it is written."""

    def __init__(self, inner: asyncio.Transport, loop: asyncio.AbstractEventLoop) -> None:
        super().__init__()
        self._inner = inner
        self._loop = loop
        self._held = b""

    def write(self, data: bytes | bytearray | memoryview) -> None:
        """Write, a head together with what follows it in the same turn of the loop."""
        if self._held:
            data, self._held = b"".join((self._held, data)), b""
        elif bytes(data[-4:]) == HEAD_ENDS:
            self._held = bytes(data)
            self._loop.call_soon(self._flush)
            return
        self._inner.write(data)

    def _flush(self) -> None:
        """Write a head that nothing has followed."""
        if self._held:
            data, self._held = self._held, b""
            self._inner.write(data)

    def write_eof(self) -> None:
        """Say that nothing more is sent."""
        self._flush()
        self._inner.write_eof()

    def close(self) -> None:
        """Close once everything is sent."""
        self._flush()
        self._inner.close()

    def abort(self) -> None:
        """Close at once."""
        self._held = b""
        self._inner.abort()

    def can_write_eof(self) -> bool:
        """Whether half of the connection can be closed."""
        return self._inner.can_write_eof()

    def is_closing(self) -> bool:
        """Whether the connection closes or is closed."""
        return self._inner.is_closing()

    def pause_reading(self) -> None:
        """Take no more bytes in."""
        self._inner.pause_reading()

    def resume_reading(self) -> None:
        """Take bytes in again."""
        self._inner.resume_reading()

    def get_extra_info(self, name: str, default: object = None) -> object:
        """What the transport knows of its connection."""
        return self._inner.get_extra_info(name, default)
