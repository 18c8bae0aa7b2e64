"""Head and body of an answer leave as one write, and nothing that was written is kept back."""

import asyncio
from collections.abc import Callable

import pytest

from service.web.whole import WholeAnswers

HEAD = b"HTTP/1.1 200 OK\r\ncontent-length: 2\r\n\r\n"


class Wire(asyncio.Transport):
    """Remembers what reaches the connection."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: list[bytes | str] = []

    def write(self, data: bytes | bytearray | memoryview) -> None:
        self.seen.append(bytes(data))

    def write_eof(self) -> None:
        self.seen.append("eof")

    def close(self) -> None:
        self.seen.append("close")

    def abort(self) -> None:
        self.seen.append("abort")


def sent(write: Callable[[WholeAnswers], object]) -> list[bytes | str]:
    """What reaches the connection, by the end of the next turn of the loop."""

    async def scenario() -> list[bytes | str]:
        wire = Wire()
        write(WholeAnswers(wire, asyncio.get_running_loop()))
        await asyncio.sleep(0)
        return wire.seen

    return asyncio.run(scenario())


@pytest.mark.parametrize(
    ("steps", "seen"),
    [
        ([HEAD, b"{}"], [HEAD + b"{}"]),
        ([HEAD, b"{}", HEAD, b"[]"], [HEAD + b"{}", HEAD + b"[]"]),
        ([HEAD], [HEAD]),
        ([b"2\r\n{}\r\n", b"0\r\n\r\n"], [b"2\r\n{}\r\n", b"0\r\n\r\n"]),
        ([HEAD, HEAD], [HEAD + HEAD]),
        ([HEAD, bytearray(b"{"), memoryview(b"}")], [HEAD + b"{", b"}"]),
    ],
)
def test_a_head_goes_with_what_follows_it_and_alone_otherwise(
    steps: list[bytes], seen: list[bytes | str]
) -> None:
    assert sent(lambda whole: [whole.write(step) for step in steps]) == seen


@pytest.mark.parametrize("end", ["close", "write_eof"])
def test_what_was_written_goes_before_the_end(end: str) -> None:
    def write(whole: WholeAnswers) -> None:
        whole.write(HEAD)
        getattr(whole, end)()

    assert sent(write) == [HEAD, end.removeprefix("write_")]


def test_a_broken_connection_drops_it() -> None:
    def write(whole: WholeAnswers) -> None:
        whole.write(HEAD)
        whole.abort()

    assert sent(write) == ["abort"]


def test_a_head_that_waits_for_its_body_is_sent_meanwhile() -> None:
    async def scenario() -> list[bytes | str]:
        wire = Wire()
        whole = WholeAnswers(wire, asyncio.get_running_loop())
        whole.write(HEAD)
        await asyncio.sleep(0.01)
        whole.write(b"{}")
        return wire.seen

    assert asyncio.run(scenario()) == [HEAD, b"{}"]
