"""Three replicas behind the shipped proxy, under load: one is killed, one is drained, none notices.

Run (with haproxy and wrk installed): python -m tests.load.replicas [seconds]
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.load.common import HERE, bodies, counts, start, status, wrk

PROXY_FILE = HERE.parents[1] / "docker" / "haproxy.cfg"
PORTS = (8651, 8652, 8653)
CONNECTIONS = 24


def start_proxy(port: int, ports: tuple[int, ...]) -> "subprocess.Popen[bytes]":
    """The proxy as it is shipped, in front of those ports, without its limit for one client."""
    names = ("ONE", "TWO", "THREE")
    environ = {f"MOVEWRIGHT_{n}": f"127.0.0.1:{p}" for n, p in zip(names, ports, strict=True)}
    environ |= {"MOVEWRIGHT_PROXY": f"127.0.0.1:{port}", "MOVEWRIGHT_PER_CLIENT_10S": "1000000"}
    proxy = subprocess.Popen(
        ["haproxy", "-q", "-f", str(PROXY_FILE)], env={**os.environ, **environ}
    )
    give_up = time.monotonic() + 10
    while status(port) != 200:
        if time.monotonic() > give_up or proxy.poll() is not None:
            proxy.kill()
            raise SystemExit("the proxy did not find a replica")
        time.sleep(0.1)
    return proxy


def main() -> int:
    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    replicas = {port: start(port, max_work=64, drain_wait_s=1) for port in PORTS}
    proxy = start_proxy(8650, PORTS)
    try:
        with tempfile.TemporaryDirectory() as folder:
            load = wrk(8650, bodies(Path(folder)), CONNECTIONS, seconds)
            time.sleep(seconds / 4)
            replicas[PORTS[0]].kill()
            replicas[PORTS[0]].wait()
            time.sleep(seconds / 4)
            # The drained one leaves one replica alone until the killed one is back.
            replicas[PORTS[0]] = start(PORTS[0], max_work=64, drain_wait_s=1)
            replicas[PORTS[1]].terminate()
            drained = replicas[PORTS[1]].wait(timeout=30)
            told, _ = load.communicate()
        found = counts(told)
        failed = sum(value for name, value in found.items() if name != "good")
        rate = re.search(r"Requests/sec:\s+([\d.]+)", told)
        print(found)
        print(
            f"one killed, one drained (exit {drained}): {found['good']} answered, {failed} failed, "
            f"{rate[1] if rate else '?'} a second over {CONNECTIONS} connections"
        )
        return 1 if failed or drained else 0
    finally:
        proxy.terminate()
        proxy.wait()
        for replica in replicas.values():
            if replica.poll() is None:
                replica.terminate()
                replica.wait()


if __name__ == "__main__":
    sys.exit(main())
