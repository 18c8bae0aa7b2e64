"""Several workers, and what ends or replaces them: nothing accepted is lost."""

import os
import re
import signal
import socket
import time
from pathlib import Path

import pytest

from tests.contract.running import Running, answer_on, exchange, service

READ = b"GET /v1/about HTTP/1.1\r\nHost: x\r\n\r\n"


def children(running: Running) -> list[int]:
    task = Path(f"/proc/{running.process.pid}/task/{running.process.pid}/children")
    if not task.is_file():
        pytest.fail("this kernel does not tell the children of a process")
    return [int(pid) for pid in task.read_text().split()]


def metric(running: Running, name: str) -> int:
    page = exchange(running.port, b"GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n").decode()
    found = re.search(rf"^{re.escape(name)} (\d+)", page, re.MULTILINE)
    assert found is not None, page
    return int(found[1])


def eventually(holds: object, within_s: float = 10.0) -> None:
    give_up = time.monotonic() + within_s
    while time.monotonic() < give_up:
        if callable(holds) and holds():
            return
        time.sleep(0.05)
    raise AssertionError(f"did not come true within {within_s} s")


def test_a_killed_worker_is_started_again_and_counts_go_on(tmp_path: Path) -> None:
    with service(tmp_path, {"WORKERS": "2"}) as running:
        eventually(lambda: len(children(running)) == 2)
        for _ in range(20):
            assert exchange(running.port, READ).startswith(b"HTTP/1.1 200")
        name = 'movewright_requests_total{route="/v1/about",status="200"}'
        assert metric(running, name) == 20
        killed = children(running)[0]
        os.kill(killed, signal.SIGKILL)
        eventually(lambda: len(children(running)) == 2 and killed not in children(running))
        for _ in range(20):
            assert exchange(running.port, READ).startswith(b"HTTP/1.1 200")
        assert metric(running, name) == 40
        assert metric(running, "movewright_worker_starts_total") == 3
        assert metric(running, "movewright_in_flight") == 1


def test_a_hangup_replaces_every_worker_while_it_serves(tmp_path: Path) -> None:
    with service(tmp_path, {"WORKERS": "2"}) as running:
        eventually(lambda: len(children(running)) == 2)
        old = set(children(running))
        running.process.send_signal(signal.SIGHUP)
        give_up = time.monotonic() + 20.0
        while old & set(children(running)) and time.monotonic() < give_up:
            assert exchange(running.port, READ).startswith(b"HTTP/1.1 200")
        assert not old & set(children(running))
        assert len(children(running)) == 2


@pytest.mark.parametrize("workers", ["1", "2"])
def test_a_stop_answers_what_was_accepted_and_waits_for_no_half(
    tmp_path: Path, workers: str
) -> None:
    with service(tmp_path, {"WORKERS": workers}) as running:
        where = ("127.0.0.1", running.port)
        with (
            socket.create_connection(where, timeout=10.0) as idle,
            socket.create_connection(where, timeout=10.0) as half,
        ):
            half.sendall(b"POST /v1/plan HTTP/1.1\r\nHost: x\r\nContent-Length: 99\r\n\r\n{")
            idle.sendall(READ)
            assert answer_on(idle).startswith(b"HTTP/1.1 200")
            running.process.terminate()
            time.sleep(0.3)
            # It drains; a connection from before is still answered, and told to go.
            idle.sendall(READ)
            answer = answer_on(idle)
            assert answer.startswith(b"HTTP/1.1 200") and b"connection: close" in answer.lower()
            began = time.monotonic()
            assert running.process.wait(timeout=10) == 0
            assert time.monotonic() - began < 5.0
            assert answer_on(half).startswith(b"HTTP/1.1 408")


def test_readiness_goes_before_the_port(tmp_path: Path) -> None:
    with service(tmp_path, {"DRAIN_WAIT_S": "1"}) as running:
        running.process.terminate()
        time.sleep(0.4)
        ready = b"GET /readyz HTTP/1.1\r\nHost: x\r\n\r\n"
        assert exchange(running.port, ready).startswith(b"HTTP/1.1 503")
        assert exchange(running.port, READ).startswith(b"HTTP/1.1 200")
        assert running.process.wait(timeout=10) == 0
        with pytest.raises(ConnectionRefusedError):
            exchange(running.port, ready)
