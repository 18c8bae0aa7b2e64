"""From causes, links, findings and changes to the noisy-OR network that inference runs on.

Apart from the rest of freezing because this alone decides what the posterior means.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import TypeAlias

from service.compiler.draft import Records
from service.compiler.order import elimination_order
from service.model.graph import EventKey
from service.model.knowledge import (
    CauseRecord,
    ChangeRecord,
    Confusion,
    DecisionRecord,
    LinkRecord,
    Persistence,
)
from service.model.network import ANY, LEFT, RIGHT, Event, Network, Parent, Variable
from service.model.quantities import Side

Persists: TypeAlias = tuple[float, ...]
"""By change, how likely a cause that made a finding still makes it."""

LOWEST, HIGHEST = 0.02, 0.98
"""Bounds of every strength and persistence in the network."""
SIDES: tuple[Side, ...] = ("left", "right")


def build_network(live: Records, decision: DecisionRecord) -> tuple[Network, tuple[EventKey, ...]]:
    """Return the network and the keys of its events, sorted by movement, finding and side."""
    variables = tuple(_variable(cause) for cause in live.causes.values())
    keys = tuple(sorted(_keys(live), key=lambda k: (k.movement, k.finding, k.side)))
    by_finding: dict[str, list[tuple[LinkRecord, Persists]]] = {}
    for link in live.links.values():
        cause = live.causes[link.cause]
        persists = tuple([persistence(c, cause, link.finding) for c in live.changes.values()])
        by_finding.setdefault(link.finding, []).append((link, persists))
    variable_of = {variable.id: n for n, variable in enumerate(variables)}
    events = tuple(_event(live, variable_of, key, by_finding.get(key.finding, [])) for key in keys)
    return (
        Network(
            variables=variables,
            events=events,
            changes=tuple(live.changes),
            confusion=_confusion(decision.confusion),
            order=elimination_order(variables, events),
            work_budget=decision.work_budget,
        ),
        keys,
    )


def _variable(cause: CauseRecord) -> Variable:
    """Return a cause with its prior: of a sided one over none, left, right, both."""
    p = cause.prior
    if not cause.sided:
        return Variable(id=cause.id, sided=False, prior=(1 - p, p))
    both = p * cause.twin
    one = p - both
    return Variable(id=cause.id, sided=True, prior=(1 - 2 * one - both, one, one, both))


def _keys(live: Records) -> Iterator[EventKey]:
    for finding in live.findings.values():
        sides: tuple[Side, ...] = SIDES if finding.sided else ("none",)
        for movement in {m for eye in finding.eyes for m in eye.movements}:
            for side in sides:
                yield EventKey(movement=movement, finding=finding.id, side=side)


def _event(
    live: Records,
    variable_of: Mapping[str, int],
    key: EventKey,
    links: Iterable[tuple[LinkRecord, Persists]],
) -> Event:
    parents = [
        parent for link, persists in links for parent in _parents(variable_of, key, link, persists)
    ]
    leak = next(
        eye.leak for eye in live.findings[key.finding].eyes if key.movement in eye.movements
    )
    return Event(
        id=f"{key.movement}/{key.finding}/{key.side}",
        parents=tuple(sorted(parents, key=lambda p: (p.variable, p.mask))),
        leak=leak,
        leak_persists=tuple(_bounded(change.leak) for change in live.changes.values()),
    )


def _parents(
    variable_of: Mapping[str, int], key: EventKey, link: LinkRecord, persists: Persists
) -> Iterator[Parent]:
    strength = next((s for m, s in link.strengths.items() if m == key.movement), None)
    if strength is None:
        return
    for mask in _masks(link, key.side):
        yield Parent(
            variable=variable_of[link.cause],
            mask=mask,
            strength=_bounded(strength),
            persists=persists,
        )


def _masks(link: LinkRecord, side: Side) -> tuple[int, ...]:
    """Return in which states of the cause the event on this side can be fired."""
    if link.relation == "none":
        return (ANY,)
    if link.relation == "either":
        return (LEFT, RIGHT)
    same = link.relation == "same"
    return (LEFT,) if (side == "left") == same else (RIGHT,)


def persistence(change: ChangeRecord, cause: CauseRecord, finding: str) -> float:
    """Return P(the cause, having made the finding, still makes it under the change).

    The most exact row counts: cause before stem before mode, and within each the row of this
    finding before the general one. Nothing takes away bony build, unless a row names it.
    """
    rows = [row for row in change.persistence if row.finding in (None, finding)]
    best = min(
        (r for r in rows if _names(r, cause) < 3), key=lambda r: _rank(r, cause), default=None
    )
    if cause.mode == "build" and (best is None or best.cause is None):
        return HIGHEST
    return _bounded(change.otherwise if best is None else best.a)


def _names(row: Persistence, cause: CauseRecord) -> int:
    """Return how exactly a row names the cause: 0 itself, 1 its stem, 2 its mode, 3 not at all."""
    wanted = ((row.cause, cause.id), (row.stem, cause.stem), (row.mode, cause.mode))
    return next((n for n, (named, own) in enumerate(wanted) if named == own), 3)


def _rank(row: Persistence, cause: CauseRecord) -> tuple[int, bool]:
    return _names(row, cause), row.finding is None


def _confusion(table: Confusion) -> tuple[tuple[float, float, float], ...]:
    rows = (table.gone, table.better, table.same)
    return tuple((row["gone"], row["better"], row["same"]) for row in rows)


def _bounded(value: float) -> float:
    return min(HIGHEST, max(LOWEST, value))
