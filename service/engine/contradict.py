"""Where a measurement and what was seen pull one cause in opposite ways, said in words.

Apart from the reasons because a reason says what one piece of evidence did; this says that two
of them cannot both be taken at their word.
"""

from service.engine.decide import Decided
from service.engine.weigh import side_of, touched_by
from service.engine.words import Words
from service.model.answer import Warning
from service.model.graph import Graph
from service.model.records import Ordered


class Dispute(Ordered, frozen=True, kw_only=True):
    """A cause on a side, with the log odds that measurements and sightings each moved it."""

    variable: int
    mask: int
    measured: float
    seen: float
    pointer: str
    measure: str


def disputes(decided: Decided, graph: Graph) -> tuple[Dispute, ...]:
    """Return the causes on which numbers and eyes disagree, by cause and side.

    They disagree where the sum of what measurements moved and the sum of what sightings, trials
    included, moved have opposite signs and both reach the pack's threshold.
    """
    threshold = graph.decision.disagree_from
    weighed, measured = decided.weighed, decided.reading.measured
    if weighed is None or threshold <= 0 or not measured:
        return ()
    by_number: dict[tuple[int, int], tuple[float, str, str]] = {}
    for one, moves in zip(measured, weighed.posterior.ratio_moved, strict=True):
        for where, moved in zip(one.targets, moves, strict=True):
            total = by_number.get(where, (0.0, "", ""))[0] + moved
            by_number[where] = (total, one.pointer, one.measure)
    if not by_number:
        return ()
    by_eye: dict[tuple[int, int], float] = {}
    touched = touched_by(graph)
    said = zip(decided.reading.evidence.sightings, weighed.posterior.sightings, strict=True)
    for sighting, posterior in said:
        if posterior is None:
            continue
        for where, part in zip(touched[sighting.event], posterior.parents, strict=True):
            if where in by_number:
                by_eye[where] = by_eye.get(where, 0.0) + part.moved
    return tuple(
        Dispute(
            variable=where[0],
            mask=where[1],
            measured=number,
            seen=by_eye[where],
            pointer=pointer,
            measure=measure,
        )
        for where, (number, pointer, measure) in sorted(by_number.items())
        if where in by_eye
        and number * by_eye[where] < 0
        and min(abs(number), abs(by_eye[where])) >= threshold
    )


def disputed(decided: Decided, graph: Graph) -> frozenset[tuple[int, int]]:
    """Return the causes and sides in dispute."""
    return frozenset((d.variable, d.mask) for d in disputes(decided, graph))


def dispute_warnings(decided: Decided, graph: Graph, words: Words) -> tuple[Warning, ...]:
    """Return one warning for each dispute, pointing at the measurement."""
    found = []
    for dispute in disputes(decided, graph):
        cause = graph.causes[graph.network.variables[dispute.variable].id]
        side = words.side(side_of(dispute.mask, cause.sided))
        code = "seen_not_measured" if dispute.measured < 0 else "measured_not_seen"
        text = words.say(
            f"warn_{code}",
            cause=words.name(cause.name),
            side=side,
            measure=words.name(graph.measures[dispute.measure].name),
        )
        found.append(Warning(code=code, pointer=dispute.pointer, text=text))
    return tuple(found)
