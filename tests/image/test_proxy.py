"""The shipped proxy with real replicas: a dead one is not noticed, too much is said plainly."""

import json
import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import yaml

from service.web.settings import settings_of
from tests.contract.running import exchange, free_port, service, start

DOCKER = Path(__file__).parents[2] / "docker"
SCREEN = b'{"observations": []}'
PLAN = (
    b"POST /v1/plan HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    b"Content-Length: %d\r\n\r\n%b" % (len(SCREEN), SCREEN)
)


@contextmanager
def proxy(replicas: list[int], per_client: int) -> Iterator[int]:
    """The proxy in front of three ports; it is ended afterwards."""
    if shutil.which("haproxy") is None:
        pytest.skip("no haproxy on this machine")
    port = free_port()
    names = ("ONE", "TWO", "THREE")
    environ = {f"MOVEWRIGHT_{n}": f"127.0.0.1:{p}" for n, p in zip(names, replicas, strict=True)}
    environ["MOVEWRIGHT_PROXY"] = f"127.0.0.1:{port}"
    environ["MOVEWRIGHT_PER_CLIENT_10S"] = str(per_client)
    command = ["haproxy", "-q", "-f", str(DOCKER / "haproxy.cfg")]
    with subprocess.Popen(command, env={**os.environ, **environ}) as process:
        try:
            give_up = time.monotonic() + 10
            while time.monotonic() < give_up and status_at(port) == 0:
                time.sleep(0.05)
            yield port
        finally:
            process.terminate()


def status_at(port: int) -> int:
    """The status of the proxy's answer to a read, 0 where nothing listens."""
    try:
        return int(exchange(port, b"GET /livez HTTP/1.1\r\nHost: x\r\n\r\n").split(b" ")[1])
    except OSError:
        return 0


def body_of(answer: bytes) -> dict[str, object]:
    assert b"content-type: application/problem+json" in answer.lower()
    found: dict[str, object] = json.loads(answer.partition(b"\r\n\r\n")[2])
    return found


def test_a_killed_and_a_leaving_replica_are_not_noticed(tmp_path: Path) -> None:
    replicas = [start(tmp_path, {"DRAIN_WAIT_S": "1"}) for _ in range(3)]
    gone, leaving, _ = (replica.process for replica in replicas)
    try:
        with proxy([replica.port for replica in replicas], per_client=100_000) as port:
            for number in range(60):
                if number == 20:
                    gone.kill()
                if number == 40:
                    leaving.terminate()
                assert exchange(port, PLAN).startswith(b"HTTP/1.1 200"), number
            assert leaving.wait(timeout=30) == 0
            assert exchange(port, PLAN).startswith(b"HTTP/1.1 200")
    finally:
        for replica in replicas:
            replica.process.kill()
            replica.process.wait(timeout=10)


def test_too_many_requests_of_one_client_are_refused_and_counts_are_not_served(
    tmp_path: Path,
) -> None:
    with service(tmp_path) as running, proxy([running.port] * 3, per_client=12) as port:
        metrics = exchange(port, b"GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n")
        assert metrics.startswith(b"HTTP/1.1 404") and body_of(metrics)["status"] == 404
        answers = [exchange(port, PLAN) for _ in range(20)]
        statuses = [int(answer.split(b" ")[1]) for answer in answers]
        assert set(statuses) == {200, 429} and statuses == sorted(statuses)
        assert b"retry-after: " in answers[-1].lower() and body_of(answers[-1])["status"] == 429


def test_without_a_replica_it_says_so() -> None:
    with proxy([free_port() for _ in range(3)], per_client=100_000) as port:
        answer = exchange(port, PLAN)
        assert answer.startswith(b"HTTP/1.1 503") and body_of(answer)["status"] == 503


def test_compose_names_every_place_that_the_proxy_asks_for() -> None:
    compose = yaml.safe_load((DOCKER / "compose.yaml").read_text())
    proxied = compose["services"].pop("proxy")
    asked = set(re.findall(r"\$\{(MOVEWRIGHT_\w+)", (DOCKER / "haproxy.cfg").read_text()))
    assert set(proxied["environment"]) == asked - {"MOVEWRIGHT_PER_CLIENT_10S"}
    for name, replica in compose["services"].items():
        assert f"{name}:8000" in proxied["environment"].values()
        assert replica["read_only"] is True and replica["cap_drop"] == ["ALL"]
        settings = settings_of(replica["environment"], {})
        grace_s = int(replica["stop_grace_period"].removesuffix("s"))
        assert settings.drain_wait_s + settings.stop_after_s < grace_s
        assert replica["networks"] == ["inside"]
    assert compose["networks"]["inside"] == {"internal": True}
