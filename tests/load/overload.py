"""Five times as many requests as one worker can answer: what is accepted stays quick.

Run: python -m tests.load.overload
"""

import asyncio
import sys
import tempfile
import time
from pathlib import Path

from tests.load.common import bodies, start

PORT = 8660
UNLOADED = 400
SECONDS = 8.0


class Caller:
    """One connection at a time to the service; remembers how long each answer took."""

    def __init__(self, lines: list[bytes]) -> None:
        self.lines = lines
        self.good: list[float] = []
        self.shed: list[float] = []
        self.other = 0
        self.idle: list[tuple[asyncio.StreamReader, asyncio.StreamWriter]] = []

    async def send(self, number: int) -> None:
        """Send one screen on a free connection and note its answer."""
        if self.idle:
            reader, writer = self.idle.pop()
        else:
            reader, writer = await asyncio.open_connection("127.0.0.1", PORT)
        body = self.lines[number % len(self.lines)]
        began = time.perf_counter()
        writer.write(
            b"POST /v1/plan HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
            b"Content-Length: %d\r\n\r\n%b" % (len(body), body)
        )
        try:
            head = await reader.readuntil(b"\r\n\r\n")
            length = int(head.lower().partition(b"content-length: ")[2].split(b"\r\n")[0])
            await reader.readexactly(length)
        except (asyncio.IncompleteReadError, ConnectionError):
            self.other += 1
            return
        took_s = time.perf_counter() - began
        status = head.split(b" ", 2)[1]
        if status == b"200":
            self.good.append(took_s)
        elif status == b"503":
            self.shed.append(took_s)
        else:
            self.other += 1
        self.idle.append((reader, writer))


def at(part: float, values: list[float]) -> float:
    """A quantile in milliseconds."""
    return sorted(values)[min(len(values) - 1, int(part * len(values)))] * 1000 if values else 0.0


async def run(lines: list[bytes]) -> int:
    calm = Caller(lines)
    began = time.perf_counter()
    for number in range(UNLOADED):
        await calm.send(number)
    capacity = UNLOADED / (time.perf_counter() - began)
    rate = 5 * capacity
    flood = Caller(lines)
    tasks = set()
    began = time.perf_counter()
    while (now := time.perf_counter() - began) < SECONDS:
        # Open loop: callers come at their own rate, whether or not they were answered.
        for _ in range(int(now * rate) - len(tasks)):
            tasks.add(asyncio.create_task(flood.send(len(tasks))))
        await asyncio.sleep(0.002)
    await asyncio.gather(*tasks)
    p99, loaded = at(0.99, calm.good), at(0.99, flood.good)
    print(f"unloaded: {capacity:.0f}/s, p50 {at(0.5, calm.good):.1f} ms, p99 {p99:.1f} ms")
    print(
        f"at 5 times: {len(flood.good)} accepted, p50 {at(0.5, flood.good):.1f} ms, "
        f"p99 {loaded:.1f} ms ({loaded / p99:.1f} x); {len(flood.shed)} shed, "
        f"p50 {at(0.5, flood.shed):.1f} ms, p99 {at(0.99, flood.shed):.1f} ms; "
        f"{flood.other} failed"
    )
    kept = loaded < 10 * p99 and at(0.99, flood.shed) < 50 and not flood.other
    return 0 if kept else 1


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        lines = bodies(Path(folder)).read_bytes().splitlines()
    process = start(PORT)
    try:
        return asyncio.run(run(lines))
    finally:
        process.terminate()
        process.wait()


if __name__ == "__main__":
    sys.exit(main())
