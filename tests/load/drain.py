"""SIGTERM under 64 connections, ten times: every request that was accepted is answered.

Run: python -m tests.load.drain
"""

import asyncio
import sys
import tempfile
from pathlib import Path

from tests.load.common import bodies, start

CONNECTIONS = 64
TIMES = 10
PORT = 8641


async def caller(lines: list[bytes], offset: int, told: dict[str, int]) -> None:
    """Send one request after another; count each as answered, refused, or lost.

    Lost is a request that was written whole to an open connection and got no whole answer.
    """
    reader, writer = await asyncio.open_connection("127.0.0.1", PORT)
    at = offset
    try:
        while True:
            body = lines[at % len(lines)]
            at += 1
            writer.write(
                b"POST /v1/plan HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
                b"Content-Length: %d\r\n\r\n%b" % (len(body), body)
            )
            told["sent"] += 1
            try:
                head = await reader.readuntil(b"\r\n\r\n")
                length = int(head.lower().partition(b"content-length: ")[2].split(b"\r\n")[0])
                await reader.readexactly(length)
            except (asyncio.IncompleteReadError, ConnectionError):
                told["lost"] += 1
                return
            status = head.split(b" ", 2)[1].decode()
            told[status] = told.get(status, 0) + 1
            if b"\r\nconnection: close" in head.lower():
                return
    finally:
        writer.close()


async def once(lines: list[bytes]) -> dict[str, int]:
    told = {"sent": 0, "lost": 0}
    process = start(PORT, max_work=CONNECTIONS)
    callers = [asyncio.create_task(caller(lines, n * 7, told)) for n in range(CONNECTIONS)]
    await asyncio.sleep(1.0)
    process.terminate()
    await asyncio.gather(*callers)
    told["exit"] = await asyncio.to_thread(process.wait, 30)
    return told


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        lines = bodies(Path(folder)).read_bytes().splitlines()
    lost = 0
    for _ in range(TIMES):
        told = asyncio.run(once(lines))
        lost += told["lost"] + (told["exit"] != 0)
        print(told, flush=True)
    print(f"lost {lost} in {TIMES} times")
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
