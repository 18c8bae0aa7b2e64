"""The timings as a table that says on what they were made.

Apart from the timing because a figure without its machine and versions says nothing.
"""

import os
import platform
from collections.abc import Iterable, Iterator
from pathlib import Path

import litestar
import msgspec
import numpy as np
import uvicorn

from service import __version__
from service.model.graph import Pack
from service.web.bench.measure import ECHO, PLAN, Timed

CPU_FILE = Path("/proc/cpuinfo")


def lines(timed: list[Timed], pack: Pack, seed: int) -> Iterator[str]:
    """Yield the report: where it was made, one row for each way and size, plan against echo."""
    yield f"movewright {__version__}, pack {pack.version} {pack.digest[:12]}, seed {seed}"
    yield f"{_processor()}, {os.cpu_count()} cores, {platform.system()} {platform.release()}"
    yield (
        f"Python {platform.python_version()}, litestar {litestar.__version__.formatted()}, "
        f"msgspec {msgspec.__version__}, numpy {np.__version__}, uvicorn {uvicorn.__version__}"
    )
    yield ""
    heads = ("size", "way", "screens", "p50 ms", "p99 ms", "a second", "bytes in", "bytes out")
    yield from _aligned([heads, *map(_cells, timed)])
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


def _processor() -> str:
    """Return the processor's name, as the system gives it."""
    if CPU_FILE.is_file():
        for line in CPU_FILE.read_text().splitlines():
            name, _, value = line.partition(":")
            if name.strip() == "model name":
                return value.strip()
    return platform.processor() or platform.machine()
