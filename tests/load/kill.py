"""kill -9 of one replica after another under load through HAProxy: no caller notices.

Run (with haproxy and wrk installed): python -m tests.load.kill
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.load.common import HERE, bodies, counts, start, status, wrk

PROXY = 8650
PORTS = (8651, 8652, 8653)
SECONDS = 15


def main() -> int:
    replicas = {port: start(port, max_work=64) for port in PORTS}
    proxy = subprocess.Popen(["haproxy", "-q", "-f", str(HERE / "haproxy.cfg")])
    try:
        while status(PROXY) != 200:
            time.sleep(0.1)
        with tempfile.TemporaryDirectory() as folder:
            load = wrk(PROXY, bodies(Path(folder)), 24, SECONDS)
            for port in PORTS:
                time.sleep(2.0)
                replicas[port].kill()
                replicas[port].wait()
                replicas[port] = start(port, max_work=64)
            told, _ = load.communicate()
        print(told)
        found = counts(told)
        failed = sum(value for name, value in found.items() if name != "good")
        print(f"{len(PORTS)} kills, {found['good']} answered, {failed} failed")
        return 1 if failed else 0
    finally:
        proxy.terminate()
        proxy.wait()
        for replica in replicas.values():
            replica.terminate()
            replica.wait()


if __name__ == "__main__":
    sys.exit(main())
