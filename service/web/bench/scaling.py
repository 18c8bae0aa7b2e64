"""How the cost of a decision grows: with what was found, and with the size of the pack.

Apart from the timing of requests because here only the decision is timed, in CPU time.
"""

import time
from collections.abc import Mapping
from random import Random
from typing import Literal, TypeVar

import msgspec
from msgspec import Struct

from service.compiler.compile import read_draft
from service.compiler.draft import Records
from service.compiler.freeze import freeze
from service.engine.plan import plan
from service.model.graph import Graph
from service.model.knowledge import DrillRecord, Record
from service.model.screen import Screen
from service.web.bench.mix import screen_of

FINDINGS = (1, 2, 4, 8, 15, 30, 60)
PACKS = (1, 3, 10)
_ENCODER = msgspec.json.Encoder()
_R = TypeVar("_R", bound=Record)


class Scaled(Struct, frozen=True, kw_only=True):
    """CPU time of a decision at one size: of findings seen, or of the pack times so many."""

    by: Literal["findings", "pack"]
    size: int
    count: int
    p50_ms: float
    p99_ms: float


def scaling(graph: Graph, *, count: int, seed: int) -> list[Scaled]:
    """Return the cost of `count` decisions at every size; the packs are asked the same screens."""
    found = [
        _row(
            "findings",
            n,
            [screen_of(graph, n, Random(f"{seed} {n} {k}")) for k in range(count)],
            graph,
        )
        for n in FINDINGS
    ]
    asked = [screen_of(graph, 3, Random(f"{seed} pack {k}")) for k in range(count)]
    return found + [_row("pack", times, asked, grown(times)) for times in PACKS]


def _row(by: Literal["findings", "pack"], size: int, asked: list[Screen], graph: Graph) -> Scaled:
    # once before: what is worked out on the first use of a target and level is no part of this
    for one in asked:
        plan(one, graph)
    times = []
    for one in asked:
        started = time.process_time()
        _ENCODER.encode(plan(one, graph))
        times.append(time.process_time() - started)
    times.sort()
    return Scaled(
        by=by,
        size=size,
        count=len(times),
        p50_ms=1000 * times[len(times) // 2],
        p99_ms=1000 * times[min(len(times) - 1, len(times) * 99 // 100)],
    )


def grown(times: int) -> Graph:
    """Return the shipped pack with so many of its findings, causes, links and drills of causes.

    Copies have names of their own and refer to copies. Movements stay as they are, and so do the
    drills that are a movement: a larger pack knows more about people, not more ways to squat.
    The copies are not checked, since the contract names no such finding.
    """
    draft, _ = read_draft()
    live = draft.live
    for n in range(1, times):
        live = _with_copies(live, draft.live, f"x{n}")
    return freeze(msgspec.structs.replace(draft, live=live))


def _with_copies(grown_so_far: Records, shipped: Records, mark: str) -> Records:
    def more(kind: Mapping[str, _R], own: Mapping[str, _R]) -> dict[str, _R]:
        return dict(sorted({**kind, **{record.id: record for record in own.values()}}.items()))

    causes = {c.id: _renamed(c, _of_cause(c.id, mark)) for c in shipped.causes.values()}
    findings = {
        f.id: _renamed(f, f"{f.id}_{mark}", opposite=f"{f.opposite}_{mark}" if f.opposite else None)
        for f in shipped.findings.values()
    }
    links = {
        one.id: _renamed(
            one,
            f"{one.id}_{mark}",
            cause=_of_cause(one.cause, mark),
            finding=f"{one.finding}_{mark}",
        )
        for one in shipped.links.values()
    }
    drills = {d.id: _drill(d, mark) for d in shipped.drills.values() if d.pattern is None}
    ladders = {
        one.id: _renamed(one, f"{one.id}_{mark}", rungs=tuple(f"{r}_{mark}" for r in one.rungs))
        for one in shipped.ladders.values()
        if all(rung in drills for rung in one.rungs)
    }
    return msgspec.structs.replace(
        grown_so_far,
        causes=more(grown_so_far.causes, causes),
        findings=more(grown_so_far.findings, findings),
        links=more(grown_so_far.links, links),
        drills=more(grown_so_far.drills, drills),
        ladders=more(grown_so_far.ladders, ladders),
    )


def _of_cause(cause: str, mark: str) -> str:
    stem, _, mode = cause.partition(".")
    return f"{stem}_{mark}.{mode}"


def _drill(drill: DrillRecord, mark: str) -> DrillRecord:
    trains = tuple(
        msgspec.structs.replace(one, cause=_of_cause(one.cause, mark)) for one in drill.trains
    )
    return _renamed(drill, f"{drill.id}_{mark}", trains=trains)


def _renamed(record: _R, name: str, **fields: object) -> _R:
    return msgspec.structs.replace(record, id=name, **fields)
