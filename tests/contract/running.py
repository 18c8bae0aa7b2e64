"""A service in a process of its own on the loopback, for the tests that talk to it from outside."""

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import NamedTuple

READY_WITHIN_S = 30.0


class Running(NamedTuple):
    port: int
    process: "subprocess.Popen[bytes]"
    log: Path

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def service(
    folder: Path, settings: Mapping[str, str] | None = None, *arguments: str
) -> Iterator[Running]:
    """A service that is ready; it is ended afterwards and must end cleanly by itself."""
    running = start(folder, settings, *arguments)
    process = running.process
    try:
        yield running
        process.terminate()
        assert process.wait(timeout=30) == 0
    finally:
        if process.poll() is None:
            process.kill()
            process.wait(timeout=10)


def start(folder: Path, settings: Mapping[str, str] | None = None, *arguments: str) -> Running:
    """A service that is ready, for a caller who ends it."""
    port = free_port()
    log = folder / f"service-{port}.log"
    environ = {k: v for k, v in os.environ.items() if not k.startswith("MOVEWRIGHT_")}
    environ |= {f"MOVEWRIGHT_{name}": value for name, value in (settings or {}).items()}
    command = [sys.executable, "-m", "service", "serve", "--port", str(port), *arguments]
    with log.open("wb") as out:
        process = subprocess.Popen(command, stdout=out, stderr=out, env=environ)
    try:
        wait_until_ready(port, process)
    except BaseException:
        process.kill()
        process.wait(timeout=10)
        raise
    return Running(port, process, log)


def wait_until_ready(port: int, process: "subprocess.Popen[bytes]") -> None:
    give_up = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < give_up:
        assert process.poll() is None, "the service ended before it was ready"
        try:
            if exchange(port, b"GET /readyz HTTP/1.1\r\nHost: x\r\n\r\n").startswith(
                b"HTTP/1.1 200"
            ):
                return
        except OSError:
            time.sleep(0.05)
    raise AssertionError(f"the service was not ready within {READY_WITHIN_S} s")


def exchange(port: int, sent: bytes, within_s: float = 10.0) -> bytes:
    """The first answer to some bytes, whole; empty where the connection was closed without one."""
    with socket.create_connection(("127.0.0.1", port), timeout=within_s) as connection:
        # Where it was refused before all was sent, the answer is there to be read.
        with suppress(BrokenPipeError, ConnectionResetError):
            connection.sendall(sent)
        return answer_on(connection)


def answer_on(connection: socket.socket) -> bytes:
    """The next answer on a connection, whole, or what came of it before the connection closed."""
    received = bytearray()
    while not is_whole(received):
        got = connection.recv(65536)
        if not got:
            break
        received += got
    return bytes(received)


def is_whole(received: bytearray) -> bool:
    head, end, body = bytes(received).partition(b"\r\n\r\n")
    if not end:
        return False
    low = head.lower()
    if b"transfer-encoding: chunked" in low:
        return body.endswith(b"0\r\n\r\n")
    length = low.partition(b"content-length: ")[2].partition(b"\r\n")[0]
    return len(body) >= int(length or b"0")
