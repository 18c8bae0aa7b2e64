"""Requests a second, processor time and memory with 1, 2, ... workers, on screens all different.

Run (with wrk installed): python -m tests.load.scaling [most workers] [seconds]
"""

import os
import re
import sys
import tempfile
from pathlib import Path

import psutil

from tests.load.common import bodies, counts, start, wrk

PORT = 8647
SCREENS = 4000
CONNECTIONS = 16


def main() -> int:
    most = int(sys.argv[1]) if len(sys.argv) > 1 else os.cpu_count() or 1
    seconds = int(sys.argv[2]) if len(sys.argv) > 2 else 20
    first, failed = 0.0, 0
    print("workers  requests/s  times one   p50 ms   p99 ms  CPU ms a request  MiB a process")
    with tempfile.TemporaryDirectory() as folder:
        file = bodies(Path(folder), SCREENS)
        for workers in range(1, most + 1):
            process = start(PORT, workers=workers, max_work=64)
            try:
                tree = [psutil.Process(process.pid)]
                tree += tree[0].children()
                wrk(PORT, file, CONNECTIONS, 3).communicate()
                before = sum(sum(one.cpu_times()[:2]) for one in tree)
                told, _ = wrk(PORT, file, CONNECTIONS, seconds).communicate()
                used_s = sum(sum(one.cpu_times()[:2]) for one in tree) - before
                held = [one.memory_info().rss / 2**20 for one in tree[-workers:]]
            finally:
                process.terminate()
                process.wait()
            found = counts(told)
            failed += sum(value for name, value in found.items() if name != "good")
            rate = found["good"] / seconds
            first = first or rate
            p50, p99 = (_quantile(told, name) for name in ("50%", "99%"))
            print(
                f"{workers:7d}  {rate:10.0f}  {rate / first:9.2f}  {p50:7.1f}  {p99:7.1f}  "
                f"{1000 * used_s / found['good']:16.2f}  {max(held):13.0f}",
                flush=True,
            )
    print(f"{failed} failed; {CONNECTIONS} connections, {SCREENS} screens, {seconds} s each")
    return 1 if failed else 0


def _quantile(told: str, name: str) -> float:
    """A quantile that wrk printed, in milliseconds."""
    found = re.search(rf"{name}\s+([\d.]+)(us|ms|s)\b", told)
    return float(found[1]) * {"us": 1e-3, "ms": 1.0, "s": 1e3}[found[2]] if found else 0.0


if __name__ == "__main__":
    sys.exit(main())
