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
    request_bytes: int
    answer_bytes: int


def measure(graph: Graph, *, count: int, worst: int, seed: int) -> list[Timed]:
    """Return the timings: `count` screens of each size, and `worst` of the worst."""
    mixes = {s: screens(graph, s, worst if s == "worst" else count, seed) for s in SIZES}
    bodies = {size: [_ENCODER.encode(one) for one in mix] for size, mix in mixes.items()}
    gc.collect()
    gc.freeze()
    for size in SIZES:
        for one in screens(graph, size, 2 if size == "worst" else WARM, seed + 1):
            plan(one, graph)
    found = []
    for size, mix in mixes.items():
        times, answered = [], 0
        for one in mix:
            started = time.perf_counter()
            answer = _ENCODER.encode(plan(one, graph))
            times.append(time.perf_counter() - started)
            answered += len(answer)
        found.append(_row(size, "decision", times, sum(map(len, bodies[size])), answered))
    with asyncio.Runner() as runner:
        ask = ask_in_process(beside_an_echo(create_app(graph, Settings(log="faults"))), runner)
        for size in SIZES:
            found += _pair(size, "in process", bodies[size], ask)
    with Loopback() as loopback:
        for size in SIZES:
            found += _pair(size, "loopback", bodies[size], loopback.ask)
    return found


def _pair(size: Size, way: str, bodies: list[bytes], ask: Ask) -> list[Timed]:
    """Return the timings of plan and echo, asked in turn with the same bodies."""
    taken: dict[str, list[float]] = {PLAN: [], ECHO: []}
    answered = 0
    ask(ECHO, bodies[0], 1)
    for body in bodies:
        wanted = 0
        for path, times in taken.items():
            started = time.perf_counter()
            answer = ask(path, body, wanted)
            times.append(time.perf_counter() - started)
            wanted = len(answer)
        answered += wanted
    asked = sum(map(len, bodies))
    return [_row(size, f"{way} {path}", times, asked, answered) for path, times in taken.items()]


def _row(size: Size, way: str, times: list[float], asked: int, answered: int) -> Timed:
    ranked, count = sorted(times), len(times)
    return Timed(
        size=size,
        way=way,
        count=count,
        p50_ms=1000 * ranked[count // 2],
        p99_ms=1000 * ranked[min(count - 1, count * 99 // 100)],
        a_second=count / sum(ranked),
        request_bytes=asked // count,
        answer_bytes=answered // count,
    )
