"""Runs golden cases against a pack and tells what does not hold.

Apart from judging one answer, because here the pack's own names are looked up too: a case that
forbids a drill which does not exist would hold for ever.
"""

from collections.abc import Iterable, Iterator

from msgspec import Struct

from service.authoring.cases import Case, Expect
from service.authoring.coverage import Coverage, coverage_of
from service.authoring.misses import misses
from service.compiler.checks.references import nearest
from service.engine.plan import plan
from service.model.answer import Answer
from service.model.graph import Graph, Pack
from service.model.screen import Screen


class Outcome(Struct, frozen=True, kw_only=True):
    """One case: what it says, where that comes from, and each expectation that does not hold."""

    case: str
    says: str
    origin: str
    misses: tuple[str, ...]


class CaseReport(Struct, frozen=True, kw_only=True):
    """All cases in order of id; `coverage` is null where it was not asked for."""

    pack: Pack
    held: int
    missed: int
    outcomes: tuple[Outcome, ...]
    coverage: Coverage | None

    @property
    def ok(self) -> bool:
        """Whether every case holds and nothing that was asked about is idle."""
        return self.missed == 0 and (self.coverage is None or self.coverage.whole)


def run_cases(cases: Iterable[Case], graph: Graph, *, coverage: bool = False) -> CaseReport:
    """Return how each case fares on a pack."""
    outcomes = []
    answered: list[tuple[Screen, Answer]] = []
    for case in cases:
        answer = plan(case.screen, graph)
        beside = plan(case.beside, graph) if case.beside is not None else None
        answered.append((case.screen, answer))
        if case.beside is not None and beside is not None:
            answered.append((case.beside, beside))
        wrong = (*unknown_names(case.expect, graph), *misses(case, answer, beside, graph))
        outcomes.append(Outcome(case=case.id, says=case.says, origin=case.origin, misses=wrong))
    missed = sum(bool(one.misses) for one in outcomes)
    return CaseReport(
        pack=graph.pack,
        held=len(outcomes) - missed,
        missed=missed,
        outcomes=tuple(outcomes),
        coverage=coverage_of(graph, answered) if coverage else None,
    )


def unknown_names(expect: Expect, graph: Graph) -> Iterator[str]:
    """Yield every name in a case that no live record of the pack has."""
    causes = {*graph.causes, *(cause.stem for cause in graph.causes.values())}
    sides = {f"{cause}/{side}" for cause in causes for side in ("left", "right", "both", "none")}
    for what, names, known in (
        ("cause", _causes(expect), causes | sides),
        ("drill", _drills(expect), set(graph.drills)),
        ("kit", (*expect.kit_used, *expect.kit_not_used), set(graph.kit)),
        ("caution", expect.cautions, set(graph.cautions)),
    ):
        for name in sorted(set(names) - known):
            yield f"names `{name}`, which is no {what} of the pack{nearest(name, known)}"


def _causes(expect: Expect) -> Iterator[str]:
    if expect.leads is not None:
        yield expect.leads
    for pair in expect.above:
        yield from pair
    for high, low, _ in expect.times:
        yield from (high, low)
    for bounds in (expect.belief, expect.weight, expect.share):
        yield from (bound.cause for bound in bounds)
    for reasons in (expect.reasons, expect.no_reasons):
        yield from (reason.cause for reason in reasons)
    yield from (*expect.listed, *expect.not_listed)
    yield from (*expect.trains, *expect.trains_any, *expect.not_trains)
    yield from (*expect.more_than_beside, *expect.less_than_beside)
    yield from (*expect.believed_more, *expect.believed_less)


def _drills(expect: Expect) -> Iterator[str]:
    yield from (*expect.drills_any, *expect.no_drills)
    for pair in expect.rungs:
        yield from pair
    yield from (kept.drill for kept in expect.left_out if kept.drill is not None)
