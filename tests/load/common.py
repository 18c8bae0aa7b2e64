"""What the load runs share: services to start and end, bodies to send, wrk to send them."""

import os
import re
import socket
import subprocess
import sys
import time
from pathlib import Path

import msgspec

from tests.shipped import shipped_graph
from tests.strategies import random_screen

HERE = Path(__file__).parent


def bodies(folder: Path, count: int = 500) -> Path:
    """A file of different screens, one a line."""
    graph = shipped_graph()
    file = folder / "bodies.ndjson"
    lines = [
        msgspec.json.encode(random_screen(graph, seed, healthy=False)) for seed in range(count)
    ]
    file.write_bytes(b"\n".join(lines) + b"\n")
    return file


def start(port: int, **settings: object) -> "subprocess.Popen[bytes]":
    """A service on that port, ready."""
    environ = {k: v for k, v in os.environ.items() if not k.startswith("MOVEWRIGHT_")}
    environ["MOVEWRIGHT_LOG"] = "faults"
    environ |= {f"MOVEWRIGHT_{name.upper()}": str(value) for name, value in settings.items()}
    process = subprocess.Popen(
        [sys.executable, "-m", "service", "serve", "--port", str(port)],
        env=environ,
        stderr=subprocess.DEVNULL,
    )
    give_up = time.monotonic() + 30
    while time.monotonic() < give_up:
        if status(port) == 200:
            return process
        time.sleep(0.02)
    process.kill()
    raise SystemExit(f"the service on port {port} was not ready within 30 s")


def status(port: int, path: str = "/readyz") -> int:
    """The status of a read, 0 where nothing answers."""
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=5) as connection:
            connection.sendall(f"GET {path} HTTP/1.1\r\nHost: x\r\n\r\n".encode())
            return int(connection.recv(4096).split(b" ", 2)[1] or b"0")
    except (OSError, IndexError):
        return 0


def wrk(port: int, file: Path, connections: int, seconds: int) -> "subprocess.Popen[str]":
    """wrk, started."""
    return subprocess.Popen(
        [
            *("wrk", "-t", "1", "-c", str(connections), "-d", f"{seconds}s", "--latency"),
            *("-s", str(HERE / "plan.lua"), f"http://127.0.0.1:{port}"),
        ],
        env={**os.environ, "BODIES": str(file)},
        stdout=subprocess.PIPE,
        text=True,
    )


def counts(told: str) -> dict[str, int]:
    """What wrk counted."""
    line = next(line for line in told.splitlines() if line.startswith("RESULT"))
    return {name: int(value) for name, value in re.findall(r"(\w+)=(\d+)", line)}


def resident_mib(pid: int) -> float:
    """Resident memory of a process."""
    text = Path(f"/proc/{pid}/status").read_text()
    return int(text.partition("VmRSS:")[2].split()[0]) / 1024
