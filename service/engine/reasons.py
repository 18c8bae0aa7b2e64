"""Why each cause is believed: the evidence behind it, and how far each piece moved the belief.

Apart from the session's reasons because these rest on inference alone.
"""

import math
from collections.abc import Iterator

from msgspec.structs import replace

from service.engine.because import (
    NOTHING,
    Told,
    about,
    cited_in,
    from_measurement,
    plainly,
    told_of,
)
from service.engine.kept import Keeper
from service.engine.measured import Measured
from service.engine.read import Reading
from service.engine.rules import rule_of
from service.engine.weigh import Weighing, belief, side_of, touched_by
from service.engine.words import Words
from service.model.answer import Because, CauseAnswer, Explains, MuscleRole
from service.model.graph import Graph
from service.model.knowledge import CauseRecord
from service.model.network import ANY, LEFT, RIGHT, ParentPosterior, Posterior
from service.model.quantities import MICRO, Side
from service.model.records import Leaf

__all__ = ["NOTHING", "Facts", "causes_of", "least_lean"]

SAID_FROM = 0.05
"""Log odds below which a piece of evidence is not worth a sentence."""
MARGIN = 1e-6
LISTED_FROM = 0.005
"""Weight below which a cause that the evidence did not raise is not listed."""


class Facts(Leaf, frozen=True, kw_only=True):
    """Everything that reasons are made from."""

    graph: Graph
    reading: Reading
    posterior: Posterior
    weighing: Weighing


Where = tuple[int, int]
"""A cause on a side: (variable, mask)."""


class _Index(Leaf, frozen=True, kw_only=True):
    """Which evidence touches which cause on which side, found in one pass, and what tells it."""

    graph: Graph
    words: Words
    wholes: tuple[Explains, ...]
    """By event: all of it; each cause explains a part."""
    sightings: dict[Where, list[tuple[Told, ParentPosterior]]]
    absences: dict[Where, list[tuple[Told, float]]]
    measured: dict[Where, list[tuple[Measured, float]]]
    known: dict[Where, bool]


_Standing = tuple[Where, float, float, bool]
"""A cause on a side: its weight, a whole number of millionths; its belief; and if it is listed
because it weighs, is more likely than not, or was told.
"""


def causes_of(facts: Facts, words: Words) -> tuple[CauseAnswer, ...]:
    """Return the causes that weigh or are likely, by weight, belief, id and side."""
    index, lean = _index(facts, words), least_lean(facts.graph)
    found = []
    for record, standings in _listed(facts, index):
        if len(standings) == 2 and _alike(index, standings[0], standings[1], lean):
            # the larger of the two decides, so that left and right are treated alike
            if standings[0][3] or standings[1][3]:
                found.append(_both(index, record, standings[0], standings[1]))
            continue
        found += [_cause(index, record, one) for one in standings if one[3]]
    return tuple(sorted(found, key=_by_weight))


def _by_weight(cause: CauseAnswer) -> tuple[float, float, str, Side]:
    return -cause.weight, -cause.belief, cause.cause, cause.side


def _listed(facts: Facts, index: _Index) -> Iterator[tuple[CauseRecord, list[_Standing]]]:
    """Yield each cause that may be listed with how it stands on each side."""
    graph, known, by_side = facts.graph, index.known, facts.weighing.by_side
    likely_from, states = graph.decision.present_from, facts.posterior.states
    for variable in _may_be_listed(facts):
        record = graph.causes[graph.network.variables[variable].id]
        standings = []
        for mask in (LEFT, RIGHT) if record.sided else (ANY,):
            where = (variable, mask)
            weight = by_side.get(where, 0) / MICRO
            believed = belief(states[variable], mask)
            listed = weight >= LISTED_FROM or believed > likely_from or where in known
            standings.append((where, weight, believed, listed))
        yield record, standings


def _may_be_listed(facts: Facts) -> list[int]:
    """Return the variables that weigh, were told, or may be more likely than not on a side."""
    # rounding to nine decimals moves a belief by less than the margin
    most_absent = 1 - facts.graph.decision.present_from + MARGIN
    told = {variable for variable, _, _ in facts.reading.known}
    weights = facts.weighing.by_cause
    return [
        variable
        for variable, states in enumerate(facts.posterior.states)
        if states[0] < most_absent or weights[variable] or variable in told
    ]


def _index(facts: Facts, words: Words) -> _Index:
    """Return all evidence by the cause and side that it touches."""
    graph, reading = facts.graph, facts.reading
    events, touched = graph.network.events, touched_by(graph)
    cited = cited_in(graph)
    sightings: dict[Where, list[tuple[Told, ParentPosterior]]] = {}
    absences: dict[Where, list[tuple[Told, float]]] = {}
    by_measure: dict[Where, list[tuple[Measured, float]]] = {}
    for seen, said in zip(reading.positives, facts.posterior.sightings, strict=True):
        if said is None:
            continue
        told = told_of(words, graph, cited, seen)
        for where, part in zip(touched[seen.event], said.parents, strict=True):
            sightings.setdefault(where, []).append((told, part))
    for seen, absence in zip(reading.negatives, reading.evidence.absences, strict=True):
        told = told_of(words, graph, cited, seen)
        for where, parent in zip(touched[seen.event], events[seen.event].parents, strict=True):
            strength = min(parent.strength * absence.scale, 0.98)
            absences.setdefault(where, []).append((told, strength))
    for measured, moves in zip(reading.measured, facts.posterior.ratio_moved, strict=True):
        for where, moved in zip(measured.targets, moves, strict=True):
            by_measure.setdefault(where, []).append((measured, moved))
    return _Index(
        graph=graph,
        words=words,
        wholes=_WHOLES.of(graph),
        sightings=sightings,
        absences=absences,
        measured=by_measure,
        known={(variable, mask): present for variable, mask, present in reading.known},
    )


def _wholes(graph: Graph) -> tuple[Explains, ...]:
    return tuple(
        [
            Explains(
                movement=key.movement,  # type: ignore[arg-type]
                finding=key.finding,  # type: ignore[arg-type]
                side=key.side,
                share=1.0,
            )
            for key in graph.events
        ]
    )


_WHOLES = Keeper(_wholes)


def least_lean(graph: Graph) -> float:
    """Return the part of a weight by which sides must differ to count as different."""
    return rule_of(graph, "weaker_side_first").numbers["least_lean_percent"] / 100


def _alike(index: _Index, one: _Standing, other: _Standing, lean: float) -> bool:
    """Say if twins are told, weigh and are believed alike: no coach could tell them apart."""
    if abs(one[1] - other[1]) > lean * (one[1] + other[1]) or abs(one[2] - other[2]) > lean:
        return False
    return index.known.get(one[0]) == index.known.get(other[0])


def _cause(index: _Index, record: CauseRecord, standing: _Standing) -> CauseAnswer:
    where, weight, believed, _ = standing
    explains, because = _evidence(index, record.id, standing)
    side = side_of(where[1], record.sided)
    return _answer(index, record, side, round(believed, 6), weight, explains, because)


def _both(index: _Index, record: CauseRecord, left: _Standing, right: _Standing) -> CauseAnswer:
    """Return twins as one entry: their weights together, the belief that both sides reach."""
    explains, because = _evidence(index, record.id, left)
    more, also = _evidence(index, record.id, right)
    said = {b.text for b in because}
    also = [b for b in also if b.text not in said or b not in because]
    return _answer(
        index,
        record,
        "both",
        round(min(left[2], right[2]), 6),
        round(left[1] + right[1], 6),
        explains + more,
        because + also,
    )


def _answer(
    index: _Index,
    record: CauseRecord,
    side: Side,
    believed: float,
    weight: float,
    explains: list[Explains],
    because: list[Because],
) -> CauseAnswer:
    return CauseAnswer(
        cause=record.id,
        name=record.name,
        side=side,
        muscles=_muscles(index.graph, record),
        belief=believed,
        weight=weight,
        explains=tuple(explains),
        firmness=None,
        because=tuple(because),
        wrong_when=record.wrong_when,
    )


def _furthest_first(reason: Because) -> tuple[float, str, str]:
    return -abs(reason.moved or 0.0), reason.code, reason.text


def _muscles(graph: Graph, record: CauseRecord) -> tuple[MuscleRole, ...]:
    """Return the muscles of a cause, made once for the pack."""
    known = _ROLES.of(graph)
    roles = known.get(record.id)
    if roles is None:
        roles = known[record.id] = tuple(
            [
                MuscleRole(muscle=m.muscle, name=graph.muscles[m.muscle].name, does=m.does)
                for m in record.muscles
            ]
        )
    return roles


def _no_roles(_graph: Graph) -> dict[str, tuple[MuscleRole, ...]]:
    return {}


_ROLES = Keeper(_no_roles)


def _evidence(
    index: _Index, cause: str, standing: _Standing
) -> tuple[list[Explains], list[Because]]:
    """Return how much of each sighting the cause accounts for, and what is said of it.

    The first in the order of events. Said is every piece of evidence that moved the belief enough
    to be worth a sentence, what moved it furthest first.
    """
    graph, words, wholes = index.graph, index.words, index.wholes
    where, weight, believed, _ = standing
    explains: list[Explains] = []
    found: list[Because] = []
    for told, part in index.sightings.get(where, ()):
        if part.share >= LISTED_FROM:
            explains.append(replace(wholes[told.seen.event], share=round(part.share, 6)))
        if abs(part.moved) >= SAID_FROM:
            found.append(about(graph, told, cause, part.moved))
        if told.trials:
            for template, moved in zip(told.trials, part.trial_moved, strict=True):
                if abs(moved) >= SAID_FROM:
                    found.append(replace(template, cause=cause, moved=round(moved, 6)))
    for told, strength in index.absences.get(where, ()):
        # what was looked for and not seen: its factor on the odds is exact
        moved = math.log(1 - strength)
        if abs(moved) >= SAID_FROM:
            found.append(about(graph, told, cause, moved))
    for measured, moved in index.measured.get(where, ()):
        if abs(moved) >= SAID_FROM:
            found.append(from_measurement(graph, words, measured, moved, cause))
    if where in index.known:
        code = "known_present" if index.known[where] else "known_absent"
        found.append(plainly(words, code, cause=cause))
    if len(found) > 1:
        found.sort(key=_furthest_first)
    if believed > graph.decision.present_from and weight < LISTED_FROM:
        found.append(plainly(words, "present_but_idle", cause=cause))
    return explains, found
