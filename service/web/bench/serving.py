"""The application beside an echo of the same size, asked in this process or over the loopback.

Apart from the timing because here is what is timed. The echo runs in the same server and the same
framework: what it takes is what any answer of that size takes.
"""

import asyncio
import gc
import http.client
import os
from multiprocessing import get_context
from pathlib import Path
from socket import create_server, socket
from types import TracebackType
from typing import cast

import uvicorn
from litestar import Litestar, Request, Response, post
from litestar.datastructures import State
from litestar.types import ASGIApp, HTTPReceiveMessage, HTTPScope, Message, Receive, Scope, Send

from service.compiler import compile_pack
from service.web.app import create_app
from service.web.settings import Settings

WANTED = "wanted-bytes"
"""Header that tells the echo how much to answer."""
READY_WITHIN_S = 60.0


def echo_app() -> Litestar:
    """Return an application that reads a body and answers as many bytes as it is told."""

    @post("/echo", status_code=200)
    async def echo(request: Request[object, object, State]) -> Response[bytes]:
        await request.body()
        wanted = int(request.headers.get(WANTED, "0"))
        return Response(b"x" * wanted, media_type="application/json")

    return Litestar([echo], openapi_config=None, logging_config=None, debug=False)


def beside_an_echo(app: ASGIApp) -> ASGIApp:
    """Return the application with the echo under a path of its own."""
    echo = cast(ASGIApp, echo_app())

    async def either(scope: Scope, receive: Receive, send: Send) -> None:
        chosen = echo if scope.get("path") == "/echo" else app
        await chosen(scope, receive, send)

    return either


class InProcess:
    """Asks an application as a server would, without one."""

    def __init__(self, app: ASGIApp, runner: asyncio.Runner) -> None:
        self._app = app
        self._runner = runner

    def __call__(self, path: str, body: bytes, wanted: int) -> bytes:
        """Return the body of the answer; anything but 200 is an error."""
        # not by `run`, which sets a signal handler for each call
        return self._runner.get_loop().run_until_complete(self._ask(path, body, wanted))

    async def _ask(self, path: str, body: bytes, wanted: int) -> bytes:
        parts: list[bytes] = []
        status: list[int] = []

        async def receive() -> HTTPReceiveMessage:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: Message) -> None:
            if message["type"] == "http.response.start":
                status.append(message["status"])
            elif message["type"] == "http.response.body":
                parts.append(message["body"])

        await self._app(_scope(path, body, wanted), receive, send)
        return _checked(status[0], path, b"".join(parts))


def ask_in_process(app: ASGIApp, runner: asyncio.Runner) -> InProcess:
    """Return what asks the application in this process."""
    return InProcess(app, runner)


def _scope(path: str, body: bytes, wanted: int) -> HTTPScope:
    headers = [
        (b"host", b"localhost"),
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (WANTED.encode(), str(wanted).encode()),
    ]
    scope = {
        "type": "http",
        "asgi": {"version": "3.0", "spec_version": "2.3"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "root_path": "",
        "query_string": b"",
        "headers": headers,
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 1),
        "state": {},
        "extensions": {},
    }
    return cast(HTTPScope, scope)


def _checked(status: int, path: str, body: bytes) -> bytes:
    if status != 200:
        raise RuntimeError(f"`{path}` answered {status}: {body[:200]!r}")
    return body


class Loopback:
    """A server in a process of its own, and one connection to it that is kept open."""

    def __enter__(self) -> "Loopback":
        """Start the server and wait until it listens."""
        listening = create_server(("127.0.0.1", 0))
        port = listening.getsockname()[1]
        self._process = get_context("spawn").Process(target=_serve, args=(listening,), daemon=True)
        self._process.start()
        listening.close()
        # the socket listens already: the first request waits until the server accepts it
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=READY_WITHIN_S)
        self.ask("/echo", b"{}", 1)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop the server."""
        self._connection.close()
        self._process.terminate()
        self._process.join()

    def cpu_s(self) -> float | None:
        """Return the CPU time of the server, None where the system does not tell."""
        return cpu_of(self._process.pid)

    def memory_mib(self) -> float | None:
        """Return the memory that the server holds, None where the system does not tell."""
        return memory_of(self._process.pid)

    def ask(self, path: str, body: bytes, wanted: int) -> bytes:
        """Return the body of the answer; anything but 200 is an error."""
        headers = {"Content-Type": "application/json", WANTED: str(wanted)}
        self._connection.request("POST", path, body, headers)
        answer = self._connection.getresponse()
        return _checked(answer.status, path, answer.read())


def cpu_of(process: int | None) -> float | None:
    """Return the seconds of CPU that a process took, None where the system does not tell."""
    told = Path(f"/proc/{process}/stat")
    if not told.is_file():
        return None
    fields = told.read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_of(process: int | None) -> float | None:
    """Return the MiB that a process holds, None where the system does not tell."""
    told = Path(f"/proc/{process}/status")
    for line in told.read_text().splitlines() if told.is_file() else ():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return None


def _serve(listening: socket) -> None:
    """Serve the shipped pack and the echo on a socket, until stopped."""
    app = beside_an_echo(cast(ASGIApp, create_app(compile_pack(), Settings(log="faults"))))
    gc.collect()
    gc.freeze()
    config = uvicorn.Config(
        app,
        http="httptools",
        log_level="error",
        access_log=False,
        server_header=False,
        timeout_keep_alive=60,
    )
    uvicorn.Server(config).run(sockets=[listening])
