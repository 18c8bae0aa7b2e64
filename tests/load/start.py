"""From the start of a process to its first answer, end to end, and where the time goes.

Run: python -m tests.load.start [times]
"""

import os
import subprocess
import sys
import time

from tests.load.common import resident_mib, status

PORT = 8646
IMPORTS = "import service.__main__"
COMPILES = "from service.compiler import compile_pack; compile_pack()"


def ready_s(port: int) -> tuple[float, float]:
    """Seconds from the start to the first 200 of /readyz, and the MiB it then holds."""
    environ = {k: v for k, v in os.environ.items() if not k.startswith("MOVEWRIGHT_")}
    began = time.perf_counter()
    command = [sys.executable, "-m", "service", "serve", "--port", str(port)]
    process = subprocess.Popen(command, env=environ, stderr=subprocess.DEVNULL)
    try:
        while status(port) != 200:
            if time.perf_counter() - began > 60 or process.poll() is not None:
                raise SystemExit("the service was not ready within 60 s")
            time.sleep(0.005)
        return time.perf_counter() - began, resident_mib(process.pid)
    finally:
        process.terminate()
        process.wait()


def took_s(code: str) -> float:
    """Seconds of a Python process that runs this."""
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], check=True)
    return time.perf_counter() - began


def middle(values: list[float]) -> float:
    """The middle of the values."""
    return sorted(values)[len(values) // 2]


def main() -> int:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    ready_s(PORT)
    found = [ready_s(PORT) for _ in range(times)]
    seconds = [one for one, _ in found]
    nothing, imports = (middle([took_s(c) for _ in range(times)]) for c in ("", IMPORTS))
    compiles = middle([took_s(COMPILES) for _ in range(times)])
    print(
        f"ready after {min(seconds):.2f} to {max(seconds):.2f} s, middle {middle(seconds):.2f} s, "
        f"holding {middle([mib for _, mib in found]):.0f} MiB ({times} starts)"
    )
    print(
        f"of it: Python itself {nothing:.2f} s, imports {imports - nothing:.2f} s; "
        f"a process that only compiles the pack {compiles:.2f} s"
    )
    return 0 if middle(seconds) < 1.5 else 1


if __name__ == "__main__":
    sys.exit(main())
