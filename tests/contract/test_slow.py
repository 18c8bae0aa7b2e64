"""Callers that take their time: closed when it is up, without holding anyone else."""

import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.contract.running import Running, exchange, service

RECEIVE_S = 1
KEEP_ALIVE_S = 1


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    folder: Path = tmp_path_factory.mktemp("slow")
    limits = {
        "RECEIVE_WITHIN_S": str(RECEIVE_S),
        "SEND_WITHIN_S": "1",
        "KEEP_ALIVE_S": str(KEEP_ALIVE_S),
    }
    with service(folder, limits) as running:
        yield running


def dripped(port: int, first: bytes, drip: bytes) -> float:
    """Seconds until the service closes on a caller that sends a little every fifth of a second."""
    began = time.monotonic()
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.settimeout(0.2)
        connection.sendall(first)
        while time.monotonic() - began < 10.0:
            try:
                if not connection.recv(65536):
                    break
            except TimeoutError:
                pass
            except ConnectionResetError:
                break
            try:
                connection.sendall(drip)
            except OSError:
                break
        return time.monotonic() - began


@pytest.mark.parametrize(
    ("first", "drip"),
    [
        (b"", b"\n"),
        (b"GET /livez HTTP/1.1\r\nHost: x\r\n", b"X: y\r\n"),
        (b"POST /v1/plan HTTP/1.1\r\nHost: x\r\nContent-Length: 9999\r\n\r\n", b" "),
        (b"POST /v1/plan HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n", b"1\r\n \r\n"),
        (b"GET /livez HTTP/1.1\r\nHost: x\r\nContent-Length: 9999\r\n\r\n", b" "),
    ],
    ids=["newlines", "headers", "body", "chunks", "body of a read"],
)
def test_a_slow_sender_is_closed(target: Running, first: bytes, drip: bytes) -> None:
    assert dripped(target.port, first, drip) < RECEIVE_S + 4.0


@pytest.mark.parametrize("first", [b"", b"GET /livez HTTP/1.1\r\nHost: x\r\n\r\n"])
def test_an_idle_connection_is_closed(target: Running, first: bytes) -> None:
    began = time.monotonic()
    with socket.create_connection(("127.0.0.1", target.port), timeout=10.0) as connection:
        connection.sendall(first)
        while connection.recv(65536):
            pass
    assert time.monotonic() - began < RECEIVE_S + KEEP_ALIVE_S + 2.0


def test_a_bulk_body_may_take_as_long_as_it_comes(target: Running) -> None:
    line = b'{"observations": []}\n'
    head = (
        b"POST /v1/bulk/plan HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n"
        b"Content-Type: application/x-ndjson\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", target.port), timeout=10.0) as connection:
        connection.sendall(head)
        for _ in range(6):
            time.sleep(RECEIVE_S / 3)
            connection.sendall(b"%x\r\n%b\r\n" % (len(line), line))
        connection.sendall(b"0\r\n\r\n")
        received = b""
        while b"0\r\n\r\n" not in received:
            received += connection.recv(65536)
    assert received.startswith(b"HTTP/1.1 200") and b'"lines":6' in received


def test_a_bulk_body_that_stops_coming_is_closed(target: Running) -> None:
    head = (
        b"POST /v1/bulk/plan HTTP/1.1\r\nHost: x\r\nContent-Length: 99\r\n"
        b"Content-Type: application/x-ndjson\r\n\r\n{"
    )
    began = time.monotonic()
    with socket.create_connection(("127.0.0.1", target.port), timeout=10.0) as connection:
        connection.sendall(head)
        received = b""
        while got := connection.recv(65536):
            received += got
    assert b'"summary"' not in received
    assert time.monotonic() - began < RECEIVE_S + 3.0


def test_a_caller_that_does_not_read_is_closed(target: Running) -> None:
    head = b"GET /v1/catalog/drills HTTP/1.1\r\nHost: x\r\n\r\n"
    with socket.socket() as connection:
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        connection.settimeout(10.0)
        connection.connect(("127.0.0.1", target.port))
        connection.sendall(head * 200)
        time.sleep(3.0)
        received = 0
        try:
            while got := connection.recv(65536):
                received += len(got)
        except ConnectionResetError:
            pass
    whole = len(exchange(target.port, head))
    assert received < whole * 200


def test_three_hundred_idle_connections_do_not_hold_a_request(target: Running) -> None:
    idle = [socket.create_connection(("127.0.0.1", target.port)) for _ in range(300)]
    try:
        body = b'{"observations": []}'
        sent = (
            b"POST /v1/plan HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
            b"Content-Length: %d\r\n\r\n%b" % (len(body), body)
        )
        assert exchange(target.port, sent).startswith(b"HTTP/1.1 200")
    finally:
        for connection in idle:
            connection.close()
