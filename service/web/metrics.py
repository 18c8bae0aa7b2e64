"""Counts in memory that all workers share, and the page that Prometheus reads.

Every worker writes to its own part and the page adds the parts up, so no lock is needed, any
worker can answer for all, and a worker that dies takes no count with it.
"""

import mmap
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from typing import get_args

from service import __version__
from service.engine.plan import CONTRACT
from service.model.graph import Pack
from service.model.quantities import Verdict

NO_ROUTE = "none"
"""The route of a request that matched none."""
STATUSES = (200, 204, 304, 400, 401, 404, 405, 406, 408, 413, 414, 415, 422, 429, 431, 500, 503)
BUCKETS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
VERDICTS: tuple[str, ...] = get_args(Verdict)
SHED = ("bulk", "work")
REFUSED = ("bad-request", "headers-too-large", "receive-timeout", "url-too-long")
LINES = ("answer", "problem")

WORDS: dict[str, tuple[str, str]] = {
    "movewright_bulk_lines_total": ("counter", "Lines of bulk requests, by outcome."),
    "movewright_decisions_total": ("counter", "Plans decided, by verdict."),
    "movewright_in_flight": ("gauge", "Requests received and not yet answered."),
    "movewright_info": ("gauge", "Always 1; the labels name the versions."),
    "movewright_refused_total": (
        "counter",
        "Requests refused before they reached a route, by problem.",
    ),
    "movewright_request_seconds": ("histogram", "Time to answer, by route."),
    "movewright_requests_total": ("counter", "Requests answered, by route and status."),
    "movewright_shed_total": ("counter", "Requests answered with 503, by what was full."),
    "movewright_worker_starts_total": ("counter", "Workers started; beyond the first, restarts."),
    "movewright_workers": ("gauge", "Workers that are meant to run."),
}
"""Name -> type and help, in alphabetical order."""


class Metrics:
    """The shared counts of all workers; `become` says whose part this process writes."""

    def __init__(self, routes: Iterable[str], pack: Pack, workers: int = 1) -> None:
        self._routes = (*sorted({*routes}), NO_ROUTE)
        self._pack = pack
        self._workers = workers
        self._row = {route: index for index, route in enumerate(self._routes)}
        self._column = {status: index for index, status in enumerate(STATUSES)}
        self._width = len(STATUSES) + len(BUCKETS) + 2
        self._names = [
            *(("shed", one) for one in SHED),
            *(("refused", one) for one in REFUSED),
            *(("verdict", one) for one in VERDICTS),
            *(("line", one) for one in LINES),
            ("in_flight", ""),
            ("starts", ""),
        ]
        self._at = {name: len(self._routes) * self._width + n for n, name in enumerate(self._names)}
        self._size = len(self._routes) * self._width + len(self._names)
        # INVARIANT: anonymous shared memory, made before any worker is forked from this process.
        self._map = mmap.mmap(-1, self._size * 8 * workers)
        self._cells = memoryview(self._map).cast("d")
        self._base = 0

    def become(self, worker: int) -> None:
        """From now on this process writes the part of that worker, which starts anew."""
        self._base = worker * self._size
        self._cells[self._base + self._at["in_flight", ""]] = 0.0
        self.count("starts", "")

    def starts(self) -> int:
        """How many workers were started so far."""
        return int(sum(self._cells[self._at["starts", ""] :: self._size]))

    def take(self, pack: Pack) -> None:
        """From now on the page names that pack."""
        self._pack = pack

    def count(self, kind: str, name: str, by: float = 1.0) -> None:
        """Add to one of the named counts."""
        self._cells[self._base + self._at[kind, name]] += by

    def answered(self, route: str, status: int, seconds: float) -> None:
        """Count one answer."""
        start = self._base + self._row.get(route, len(self._routes) - 1) * self._width
        column = self._column.get(status)
        if column is not None:
            self._cells[start + column] += 1.0
        bucket = start + len(STATUSES) + bisect_left(BUCKETS, seconds)
        self._cells[bucket] += 1.0
        self._cells[start + self._width - 1] += seconds

    def page(self) -> bytes:
        """All counts of all workers in the text format of Prometheus, version 0.0.4."""
        total = [sum(self._cells[n :: self._size]) for n in range(self._size)]
        lines: list[str] = []
        for name, (kind, words) in WORDS.items():
            lines += [f"# HELP {name} {words}", f"# TYPE {name} {kind}"]
            lines += self._samples(name, total)
        return ("\n".join(lines) + "\n").encode()

    def _samples(self, name: str, total: Sequence[float]) -> Iterable[str]:
        if name == "movewright_requests_total":
            return self._requests(total)
        if name == "movewright_request_seconds":
            return self._seconds(total)
        if name == "movewright_info":
            return [
                f'{name}{{service="{__version__}",contract="{CONTRACT}",'
                f'pack="{self._pack.version}",digest="{self._pack.digest}"}} 1'
            ]
        if name == "movewright_workers":
            return [f"{name} {self._workers}"]
        kind, label, names = {
            "movewright_bulk_lines_total": ("line", "outcome", LINES),
            "movewright_decisions_total": ("verdict", "verdict", VERDICTS),
            "movewright_refused_total": ("refused", "problem", REFUSED),
            "movewright_shed_total": ("shed", "full", SHED),
            "movewright_in_flight": ("in_flight", "", ("",)),
            "movewright_worker_starts_total": ("starts", "", ("",)),
        }[name]
        return [
            f"{name}{_label(label, one)} {_number(total[self._at[kind, one]])}" for one in names
        ]

    def _requests(self, total: Sequence[float]) -> Iterable[str]:
        for row, route in enumerate(self._routes):
            for column, status in enumerate(STATUSES):
                value = total[row * self._width + column]
                if value:
                    labels = f'{{route="{route}",status="{status}"}}'
                    yield f"movewright_requests_total{labels} {_number(value)}"

    def _seconds(self, total: Sequence[float]) -> Iterable[str]:
        name = "movewright_request_seconds"
        for row, route in enumerate(self._routes):
            start = row * self._width + len(STATUSES)
            cells = total[start : start + len(BUCKETS) + 1]
            if not any(cells):
                continue
            so_far = 0.0
            for bound, value in zip((*map(str, BUCKETS), "+Inf"), cells, strict=True):
                so_far += value
                yield f'{name}_bucket{{route="{route}",le="{bound}"}} {_number(so_far)}'
            yield f'{name}_sum{{route="{route}"}} {total[start + len(BUCKETS) + 1]:.6f}'
            yield f'{name}_count{{route="{route}"}} {_number(so_far)}'


def _label(name: str, value: str) -> str:
    return f'{{{name}="{value}"}}' if name else ""


def _number(value: float) -> str:
    return str(int(value))
