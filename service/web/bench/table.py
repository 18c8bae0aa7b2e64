"""The timings as a table that says on what they were made.

Apart from the timing because a figure without its machine and versions says nothing.
"""

import os
import platform
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Literal

import litestar
import msgspec
import numpy as np
import uvicorn
from msgspec import Struct

from service import __version__
from service.engine import choose
from service.model.graph import Pack
from service.web.bench.measure import ECHO, PLAN, Timed
from service.web.bench.scaling import Scaled

CPU_FILE = Path("/proc/cpuinfo")
Engine = Literal["compiled", "source"]


HEADS = (
    "size",
    "way",
    "screens",
    "p50 ms",
    "p99 ms",
    "a second",
    "CPU ms",
    "MiB",
    "bytes in",
    "bytes out",
)


class Report(Struct, frozen=True, kw_only=True):
    """All figures of one run and on what they were made."""

    service: str
    pack: str
    digest: str
    engine: Engine
    seed: int
    processor: str
    cores: int
    system: str
    versions: dict[str, str]
    timed: tuple[Timed, ...]
    scaled: tuple[Scaled, ...]


def report(timed: list[Timed], scaled: list[Scaled], pack: Pack, seed: int) -> Report:
    """Return the figures with their conditions, for other programs to read."""
    return Report(
        service=__version__,
        pack=pack.version,
        digest=pack.digest,
        engine=_engine(),
        seed=seed,
        processor=_processor(),
        cores=os.cpu_count() or 0,
        system=f"{platform.system()} {platform.release()}",
        versions={
            "litestar": litestar.__version__.formatted(),
            "msgspec": msgspec.__version__,
            "numpy": np.__version__,
            "python": platform.python_version(),
            "uvicorn": uvicorn.__version__,
        },
        timed=tuple(timed),
        scaled=tuple(scaled),
    )


def scaled_lines(scaled: list[Scaled]) -> Iterator[str]:
    """Yield how a decision's CPU time grows, each size against the first of its kind."""
    first: dict[str, float] = {}
    rows: list[tuple[str, ...]] = [("by", "size", "screens", "p50 ms", "p99 ms", "times the first")]
    for row in scaled:
        base = first.setdefault(row.by, row.p50_ms)
        times = f"{row.p50_ms / base:.2f}"
        cells = (str(row.count), f"{row.p50_ms:.2f}", f"{row.p99_ms:.2f}", times)
        rows.append((row.by, str(row.size), *cells))
    yield "decision, CPU time"
    yield from _aligned(rows)


def lines(timed: list[Timed], pack: Pack, seed: int) -> Iterator[str]:
    """Yield the report: where it was made, one row for each way and size, plan against echo."""
    made = f"movewright {__version__} ({_engine()})"
    yield f"{made}, pack {pack.version} {pack.digest[:12]}, seed {seed}"
    yield f"{_processor()}, {os.cpu_count()} cores, {platform.system()} {platform.release()}"
    yield (
        f"Python {platform.python_version()}, litestar {litestar.__version__.formatted()}, "
        f"msgspec {msgspec.__version__}, numpy {np.__version__}, uvicorn {uvicorn.__version__}"
    )
    yield ""
    yield from _aligned([HEADS, *map(_cells, timed)])
    yield ""
    yield from _ratios(timed)


def _cells(row: Timed) -> tuple[str, ...]:
    return (
        row.size,
        row.way,
        str(row.count),
        f"{row.p50_ms:.2f}",
        f"{row.p99_ms:.2f}",
        f"{row.a_second:.0f}",
        "" if row.cpu_ms is None else f"{row.cpu_ms:.2f}",
        "" if row.memory_mib is None else f"{row.memory_mib:.0f}",
        str(row.request_bytes),
        str(row.answer_bytes),
    )


def _aligned(rows: list[tuple[str, ...]]) -> Iterator[str]:
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
    for row in rows:
        words = [cell.ljust(width) for cell, width in zip(row[:2], widths[:2], strict=True)]
        numbers = [cell.rjust(width) for cell, width in zip(row[2:], widths[2:], strict=True)]
        yield "  ".join([*words, *numbers]).rstrip()


def _ratios(timed: Iterable[Timed]) -> Iterator[str]:
    """Yield the plan's requests a second as a part of the echo's."""
    rates = {(row.size, row.way): row.a_second for row in timed}
    for (size, way), rate in rates.items():
        if way.endswith(PLAN):
            part = rate / rates[size, way.removesuffix(PLAN) + ECHO]
            yield f"{size}, {way}: {part:.0%} of the echo's requests a second"


def _engine() -> Engine:
    """Say if the engine was compiled or is read as source."""
    return "source" if choose.__file__.endswith(".py") else "compiled"


def _processor() -> str:
    """Return the processor's name, as the system gives it."""
    if CPU_FILE.is_file():
        for line in CPU_FILE.read_text().splitlines():
            name, _, value = line.partition(":")
            if name.strip() == "model name":
                return value.strip()
    return platform.processor() or platform.machine()
