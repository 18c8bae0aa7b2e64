"""From an application to processes that listen: draining, several workers, restarts.

One worker is this process. More are forked after the pack is compiled, so that they share its
memory and one that dies is back within a moment.
"""

import asyncio
import gc
import importlib
import os
import select
import signal
import socket
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import uvicorn

from service.model.errors import MovewrightError, SettingError
from service.web.edge import Edge
from service.web.guard import GuardedProtocol, guarded
from service.web.log import Log, log_by_allow_list
from service.web.running import Running
from service.web.settings import Settings

LEAVE_S = 1.0
"""How long a draining process lets idle connections end by themselves."""
HURRY_S = 2.0
"""How much more time a half-sent request gets once the process drains."""
CHILD_FAILED = 3
_ALONE = "one worker cannot be replaced while it serves: the pack stays; start a process beside it"

MakeApp = Callable[[Running | None], Edge]


class DrainServer(uvicorn.Server):
    """Finishes what was accepted before it ends (the stock server drops a request in flight)."""

    def __init__(self, config: uvicorn.Config, app: Edge, wait_s: float) -> None:
        super().__init__(config)
        self._app = app
        self._wait_s = wait_s

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Say that we are leaving, close the port, let callers leave, then end."""
        self._app.running.life.draining = True
        await asyncio.sleep(self._wait_s)
        loop = asyncio.get_running_loop()
        # The loop accepts one caller a turn, and a turn holds a decision: who has connected and
        # still waits to be taken in would be cut off with the port.
        end = loop.time() + LEAVE_S
        while sockets and loop.time() < end and select.select(sockets, [], [], 0)[0]:
            await asyncio.sleep(0)
        for server in self.servers:
            server.close()
        for listener in sockets or []:
            listener.close()
        # The event loop closes a listener on its next turn.
        await asyncio.sleep(0.05)
        for connection in list(self.server_state.connections):
            if isinstance(connection, GuardedProtocol):
                connection.hurry(HURRY_S)
        last = loop.time() + (self.config.timeout_graceful_shutdown or 0)
        left, end = len(self.server_state.connections), loop.time() + LEAVE_S
        while left and loop.time() < min(end, last) and not self.force_exit:
            await asyncio.sleep(0.02)
            # As long as callers still leave, those behind them get as long again: on a machine
            # that is short of time a request may be on its way for longer than one wait.
            if len(self.server_state.connections) < left:
                end = loop.time() + LEAVE_S
            left = len(self.server_state.connections)
        await super().shutdown(sockets=None)


def serve(make: MakeApp, settings: Settings) -> int:
    """The exit code, once the service has ended. `make` compiles a pack into an application."""
    log_by_allow_list()
    log = Log()
    started = time.perf_counter()
    app = make(None)
    _check_spans(settings)
    listener = _listen(settings)
    host, port = listener.getsockname()[:2]
    where = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    log.service(
        f"listening on {where} with {settings.workers} worker(s), "
        f"pack compiled in {time.perf_counter() - started:.2f} s"
    )
    if settings.workers == 1:
        if sys.platform != "win32":
            signal.signal(signal.SIGHUP, lambda *_: log.service(_ALONE, "error"))
        app.running.become(0)
        _run(app, settings, listener)
        return 0
    return Supervisor(make, app, settings, listener, log).run()


def _listen(settings: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    listener = socket.socket(family)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((settings.host, settings.port))
    except OSError as error:
        raise SettingError(
            f"cannot listen on `{settings.host}:{settings.port}`: {error.strerror}"
        ) from None
    listener.listen(2048)
    listener.set_inheritable(True)
    return listener


def _check_spans(settings: Settings) -> None:
    try:
        if settings.otlp_endpoint:
            importlib.import_module("service.web.spans")
    except ModuleNotFoundError:
        raise SettingError(
            "`MOVEWRIGHT_OTLP_ENDPOINT`: spans need the extra: install `movewright[otel]`"
        ) from None


@contextmanager
def _recorded(app: Edge, settings: Settings) -> Iterator[None]:
    """With spans of what is answered meanwhile, if an address is set for them."""
    if not settings.otlp_endpoint:
        yield
        return
    # Only here: it costs a tenth of a second and is an extra.
    from service.web.spans import spans_to

    spans = spans_to(settings.otlp_endpoint)
    app.record = spans.record
    try:
        yield
    finally:
        spans.close()


def _run(app: Edge, settings: Settings, listener: socket.socket) -> None:
    def refused(problem: str) -> None:
        app.running.metrics.count("refused", problem)

    config = uvicorn.Config(
        app,
        loop="asyncio" if sys.platform == "win32" else "uvloop",
        http=guarded(settings, app.common, refused),
        ws="none",
        lifespan="off",
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_keep_alive=settings.keep_alive_s,
        timeout_graceful_shutdown=settings.stop_after_s,
    )
    # The pack lives as long as the process: the collector need not walk it again and again.
    gc.collect()
    gc.freeze()
    server = DrainServer(config, app, settings.drain_wait_s)
    # The server raises the signal that ended it once more; ending on purpose is no failure.
    ended_by = {number: signal.signal(number, signal.SIG_IGN) for number in _ENDINGS}
    try:
        with _recorded(app, settings):
            server.run(sockets=[listener])
    finally:
        for number, handler in ended_by.items():
            signal.signal(number, handler)


_ENDINGS = (signal.SIGINT, signal.SIGTERM)


class Supervisor:
    """The parent of the workers: starts them again, restarts them in turn, ends them.

    SIGTERM and SIGINT drain and end; SIGHUP compiles the pack again and replaces one worker after
    another. A pack with faults changes nothing.
    """

    def __init__(
        self, make: MakeApp, app: Edge, settings: Settings, listener: socket.socket, log: Log
    ) -> None:
        self._make = make
        self._app = app
        self._settings = settings
        self._listener = listener
        self._log = log
        self._workers: dict[int, int] = {}
        self._signals: list[int] = []
        self._wake_out, self._wake_in = os.pipe()

    def run(self) -> int:
        """The exit code, once every worker has ended."""
        os.set_blocking(self._wake_in, False)
        os.set_blocking(self._wake_out, False)
        signal.set_wakeup_fd(self._wake_in, warn_on_full_buffer=False)
        for number in (*_ENDINGS, signal.SIGHUP, signal.SIGCHLD):
            signal.signal(number, lambda got, _: self._signals.append(got))
        for slot in range(self._settings.workers):
            self._start(slot)
        while not self._is_ending():
            if signal.SIGHUP in self._signals:
                self._signals = [one for one in self._signals if one != signal.SIGHUP]
                self._replace_all()
            self._revive()
            self._sleep(0.5)
        return self._end()

    def _is_ending(self) -> bool:
        return any(number in self._signals for number in _ENDINGS)

    def _sleep(self, seconds: float) -> None:
        """Wait, or wake on a signal."""
        if select.select([self._wake_out], [], [], seconds)[0]:
            os.read(self._wake_out, 4096)

    def _start(self, slot: int) -> int:
        pid = os.fork()
        if pid == 0:
            self._be_worker(slot)
        self._workers[pid] = slot
        return pid

    def _be_worker(self, slot: int) -> None:
        code = CHILD_FAILED
        try:
            signal.set_wakeup_fd(-1)
            for number in (*_ENDINGS, signal.SIGHUP, signal.SIGCHLD):
                signal.signal(number, signal.SIG_DFL)
            self._app.running.become(slot)
            _run(self._app, self._settings, self._listener)
            code = 0
        finally:
            os._exit(code)

    def _revive(self) -> None:
        for pid, slot in self._ended():
            self._log.service(f"worker {slot} (process {pid}) ended; starting it again", "error")
            self._start(slot)

    def _ended(self) -> list[tuple[int, int]]:
        """Process and slot of every worker that has ended since the last call."""
        ended = [pid for pid in self._workers if os.waitpid(pid, os.WNOHANG)[0]]
        return [(pid, self._workers.pop(pid)) for pid in ended]

    def _replace_all(self) -> None:
        try:
            self._app = self._make(self._app.running)
        except MovewrightError as error:
            self._log.service(f"the pack was not taken: {str(error).splitlines()[0]}", "error")
            return
        self._log.service("the pack was compiled again; workers are replaced in turn")
        for old, slot in tuple(self._workers.items()):
            before = self._app.running.metrics.starts()
            self._start(slot)
            give_up = time.monotonic() + 10.0
            while self._app.running.metrics.starts() <= before and time.monotonic() < give_up:
                time.sleep(0.02)
            os.kill(old, signal.SIGTERM)
            self._reap(old)

    def _reap(self, pid: int) -> None:
        give_up = time.monotonic() + self._settings.drain_wait_s + self._settings.stop_after_s + 5
        while not os.waitpid(pid, os.WNOHANG)[0]:
            if time.monotonic() > give_up:
                os.kill(pid, signal.SIGKILL)
            time.sleep(0.02)
        self._workers.pop(pid, None)

    def _end(self) -> int:
        for pid in self._workers:
            os.kill(pid, signal.SIGTERM)
        time.sleep(self._settings.drain_wait_s)
        self._listener.close()
        for pid in tuple(self._workers):
            self._reap(pid)
        self._log.service("every worker has ended")
        return 0
