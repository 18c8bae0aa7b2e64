"""The running service keeps the committed contract: every check, every phase, no failure.

The same by hand, against a service that runs:
`schemathesis run http://127.0.0.1:8000/openapi.json`
"""

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from service.web.shipped import contract_file

SEED = 20261125
EXAMPLES = 200
READY_WITHIN_S = 30.0


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@pytest.fixture
def service() -> Iterator[str]:
    port = free_port()
    url = f"http://127.0.0.1:{port}"
    command = [sys.executable, "-m", "service", "serve", "--port", str(port)]
    with subprocess.Popen(command, stderr=subprocess.DEVNULL) as process:
        try:
            wait_until_ready(url, process)
            yield url
        finally:
            process.terminate()
            process.wait(timeout=20)


def wait_until_ready(url: str, process: "subprocess.Popen[bytes]") -> None:
    give_up = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < give_up:
        assert process.poll() is None, "the service ended before it was ready"
        try:
            if httpx.get(f"{url}/readyz").status_code == 200:
                return
        except httpx.TransportError:
            time.sleep(0.1)
    pytest.fail(f"the service was not ready within {READY_WITHIN_S} s")


def test_the_service_keeps_its_contract(service: str, tmp_path: Path) -> None:
    print(f"seed {SEED}")
    command = [
        str(Path(sys.executable).with_name("schemathesis")),
        *("run", str(Path(str(contract_file())).resolve()), "--url", service),
        *("--checks", "all", "--phases", "examples,coverage,fuzzing,stateful"),
        *("--max-examples", str(EXAMPLES), "--seed", str(SEED), "--no-color"),
    ]
    run = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
    assert "No issues found" in run.stdout
    assert "12 selected / 12 total" in run.stdout
