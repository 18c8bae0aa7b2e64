"""Memory of one worker after many requests and many bulk lines: flat.

Run: python -m tests.load.memory [requests] [lines]
"""

import os
import socket
import sys
import tempfile
import time
from pathlib import Path

from tests.load.common import bodies, resident_mib, start, wrk

PORT = 8670


def bulk(port: int, line: bytes, count: int) -> int:
    """Send that many lines and read the answer meanwhile; how many bytes came back."""
    block = line * 200
    head = (
        b"POST /v1/bulk/plan HTTP/1.1\r\nHost: x\r\nContent-Type: application/x-ndjson\r\n"
        b"Content-Length: %d\r\n\r\n" % (len(line) * count)
    )
    received = 0
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.sendall(head)
        connection.setblocking(False)
        left, waiting, last = len(line) * count, b"", b""
        while not last.endswith(b"\r\n0\r\n\r\n"):
            if not waiting and left:
                waiting = block[: min(len(block), left)]
                left -= len(waiting)
            moved = False
            if waiting:
                try:
                    sent = connection.send(waiting)
                    waiting, moved = waiting[sent:], True
                except BlockingIOError:
                    pass
            try:
                got = connection.recv(1 << 20)
                if not got:
                    raise SystemExit("the bulk answer was cut off")
                received += len(got)
                last, moved = (last + got)[-16:], True
            except BlockingIOError:
                pass
            if not moved:
                time.sleep(0.0005)
    return received


def main() -> int:
    requests, lines = (int(text) for text in (*sys.argv[1:3], "200000", "1000000")[:2])
    process = start(PORT, max_work=64)
    try:
        with tempfile.TemporaryDirectory() as folder:
            file = bodies(Path(folder))
            wrk(PORT, file, 16, 5).communicate()
            first = resident_mib(process.pid)
            done, began = 0, time.monotonic()
            while done < requests:
                told, _ = wrk(PORT, file, 16, 30).communicate()
                done += int(told.partition(" requests in")[0].split()[-1])
            after = resident_mib(process.pid)
            took_s = time.monotonic() - began
            print(f"{first:.1f} MiB, after {done} requests {after:.1f} MiB, {took_s:.0f} s")
        began = time.monotonic()
        size = bulk(PORT, b'{"observations": []}\n', lines)
        last = resident_mib(process.pid)
        took_s = time.monotonic() - began
        print(f"after {lines} bulk lines ({size >> 20} MiB back) {last:.1f} MiB, {took_s:.0f} s")
        return 0 if last - first < 16 else 1
    finally:
        process.terminate()
        process.wait()


if __name__ == "__main__":
    os.environ.setdefault("PYTHONHASHSEED", "0")
    sys.exit(main())
