"""The timing itself: the decision alone, the application in this process, and over the loopback.

Apart from the mix and from the table because here a clock is read. All figures of a report come
from one run, and the echo is asked in turn with the plan, so that a busy machine slows both.
"""

import asyncio
import gc
import time
from collections.abc import Callable

import msgspec
from msgspec import Struct

from service.engine.plan import plan
from service.engine.ready import make_ready
from service.model.graph import Graph
from service.web.app import create_app
from service.web.bench.mix import SIZES, Size, screens
from service.web.bench.serving import Loopback, ask_in_process, beside_an_echo
from service.web.settings import Settings

Ask = Callable[[str, bytes, int], bytes]
"""Path, body, bytes wanted of the echo -> the body of the answer."""

PLAN, ECHO = "/v1/plan", "/echo"
WARM = 10
"""Screens, of another seed, that are asked before anything is timed."""
_ENCODER = msgspec.json.Encoder()


class Timed(Struct, frozen=True, kw_only=True):
    """What one way of asking took, over screens of one size that all differ."""

    size: str
    way: str
    count: int
    p50_ms: float
    p99_ms: float
    a_second: float
    cpu_ms: float | None
    """Mean of the process that answers, of a server in whole ticks; null where nothing tells."""
    memory_mib: float | None
    """Held by the server afterwards; null where there is none or the system does not tell."""
    request_bytes: int
    answer_bytes: int


def measure(graph: Graph, *, count: int, worst: int, seed: int) -> list[Timed]:
    """Return the timings: `count` screens of each size, and `worst` of the worst."""
    mixes = {s: screens(graph, s, worst if s == "worst" else count, seed) for s in SIZES}
    bodies = {size: [_ENCODER.encode(one) for one in mix] for size, mix in mixes.items()}
    make_ready(graph)
    gc.collect()
    gc.freeze()
    for size in SIZES:
        for one in screens(graph, size, 2 if size == "worst" else WARM, seed + 1):
            plan(one, graph)
    found = []
    for size, mix in mixes.items():
        times, answered, busy = [], 0, time.process_time()
        for one in mix:
            started = time.perf_counter()
            answer = _ENCODER.encode(plan(one, graph))
            times.append(time.perf_counter() - started)
            answered += len(answer)
        busy = time.process_time() - busy
        found.append(_row(size, "decision", times, busy, sum(map(len, bodies[size])), answered))
    with asyncio.Runner() as runner:
        ask = ask_in_process(beside_an_echo(create_app(graph, Settings(log="faults"))), runner)
        for size in SIZES:
            found += _pair(size, "in process", bodies[size], ask, time.process_time)
    with Loopback() as loopback:
        for size in SIZES:
            rows = _pair(size, "loopback", bodies[size], loopback.ask, loopback.cpu_s)
            held = loopback.memory_mib()
            found += [msgspec.structs.replace(row, memory_mib=held) for row in rows]
    return found


def _pair(
    size: Size, way: str, bodies: list[bytes], ask: Ask, cpu_s: Callable[[], float | None]
) -> list[Timed]:
    """Return the timings of plan and echo, asked in turn with the same bodies."""
    taken: dict[str, list[float]] = {PLAN: [], ECHO: []}
    busy: dict[str, float | None] = {PLAN: 0.0, ECHO: 0.0}
    answered = 0
    ask(ECHO, bodies[0], 1)
    for body in bodies:
        wanted = 0
        for path, times in taken.items():
            before, started = cpu_s(), time.perf_counter()
            answer = ask(path, body, wanted)
            times.append(time.perf_counter() - started)
            busy[path] = _more(busy[path], before, cpu_s())
            wanted = len(answer)
        answered += wanted
    asked = sum(map(len, bodies))
    return [
        _row(size, f"{way} {path}", times, busy[path], asked, answered)
        for path, times in taken.items()
    ]


def _more(so_far: float | None, before: float | None, after: float | None) -> float | None:
    if so_far is None or before is None or after is None:
        return None
    return so_far + after - before


def _row(
    size: Size, way: str, times: list[float], busy: float | None, asked: int, answered: int
) -> Timed:
    ranked, count = sorted(times), len(times)
    return Timed(
        size=size,
        way=way,
        count=count,
        p50_ms=1000 * ranked[count // 2],
        p99_ms=1000 * ranked[min(count - 1, count * 99 // 100)],
        a_second=count / sum(ranked),
        cpu_ms=None if busy is None else 1000 * busy / count,
        memory_mib=None,
        request_bytes=asked // count,
        answer_bytes=answered // count,
    )
