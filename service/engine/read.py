"""From a screen to evidence: what can be weighed, what stands aside, and what was not asked.

Nothing is decided here. Whatever cannot be used is left out with a warning that points at it;
everything else keeps its way back to what the coach saw, so that reasons can name it.
"""

import difflib
from collections.abc import Iterable, Iterator, Mapping

from service.engine.infer_terms import STRONGEST
from service.engine.kept import Keeper
from service.engine.looks import REPORTS, Note, Raw, expand, eye_on, names_of, one_a_view, trials_of
from service.engine.measured import Measured, read_measurements
from service.engine.units import in_pack_units
from service.model.graph import Graph
from service.model.network import (
    ANY,
    LEFT,
    RIGHT,
    Absence,
    Evidence,
    Fixed,
    LikelihoodRatio,
    Sighting,
)
from service.model.quantities import Side, View
from service.model.records import Leaf
from service.model.screen import Screen, Trial


class Seen(Leaf, frozen=True, kw_only=True):
    """One event that was looked for, however many views it was looked at from.

    `view` is the first view that speaks for what was found; `trials` are those that count,
    by change; `half_depth_told` says that one of them was read from the depth.
    """

    event: int
    positive: bool
    grade: str
    view: View
    views: tuple[View, ...]
    trials: tuple[Trial, ...]
    half_depth_told: bool
    really: float
    """P(there though unlisted, rather than a false look | only the leak fired)."""
    leak: float
    """The leak with the eye inside, before the grade; 0 for what was not found."""
    scale: float
    """The eye's factor on every strength, for what was found or for what was not."""


class Reading(Leaf, frozen=True, kw_only=True):
    """A screen as understood. `sightings[n]` in the evidence belongs to `positives[n]`."""

    target: str | None
    evidence: Evidence
    positives: tuple[Seen, ...]
    negatives: tuple[Seen, ...]
    measured: tuple[Measured, ...]
    known: tuple[tuple[int, int, bool], ...]
    notes: tuple[Note, ...]


def read(screen: Screen, graph: Graph) -> Reading:
    """Return the evidence in a screen, in an order that does not depend on the screen's."""
    screen = in_pack_units(screen, graph)
    notes = _not_asked(screen)
    groups: dict[int, list[Raw]] = {}
    for raw in expand(screen, graph, notes):
        groups.setdefault(raw.event, []).append(raw)
    seen = [_join(event, groups[event], screen, graph, notes) for event in sorted(groups)]
    positives = tuple([s for s in seen if s.positive])
    negatives = tuple([s for s in seen if not s.positive])
    if len(positives) > 1:
        _warn_of_opposites(positives, graph, groups, notes)
    target = _target(screen, seen, graph, notes)
    measured, measured_notes = read_measurements(screen, graph)
    known = tuple(_known(screen, graph, notes)) if screen.known else ()
    notes += [Note(code=c, pointer=p, values=v) for c, p, v in measured_notes]
    _add_unknown_ids(screen, graph, notes)
    if len(notes) > 1:
        notes.sort(key=lambda n: (n.pointer, n.code, n.values))
    return Reading(
        target=target,
        evidence=_evidence(positives, negatives, measured, known, target, graph),
        positives=positives,
        negatives=negatives,
        measured=measured,
        known=known,
        notes=tuple(notes),
    )


def _evidence(
    positives: tuple[Seen, ...],
    negatives: tuple[Seen, ...],
    measured: tuple[Measured, ...],
    known: tuple[tuple[int, int, bool], ...],
    target: str | None,
    graph: Graph,
) -> Evidence:
    """Return all that is weighed, as inference takes it."""
    return Evidence(
        sightings=_sightings(positives, target, graph),
        absences=tuple([Absence(event=s.event, scale=s.scale) for s in negatives]),
        ratios=tuple([LikelihoodRatio(targets=m.targets, ratio=m.ratio) for m in measured]),
        fixed=tuple([Fixed(variable=v, mask=m, present=p) for v, m, p in known]),
    )


def _not_asked(screen: Screen) -> list[Note]:
    client = screen.client
    answers = (("alerts", client.alerts), ("conditions", client.conditions), ("pain", client.pain))
    notes = []
    for field, answer in answers:
        if answer is None:
            values = (("field", field),)
            notes.append(Note(code="not_asked", pointer=f"/client/{field}", values=values))
    if not screen.observations:
        notes.append(Note(code="nothing_looked_at", pointer="/observations"))
    return notes


def _join(event: int, raws: list[Raw], screen: Screen, graph: Graph, notes: list[Note]) -> Seen:
    """Return one event from all looks at it: one look a view, the plainest grade first."""
    if len(raws) > 1:
        raws[:] = one_a_view(raws, notes)
    first = raws[0]
    eye = eye_on(event, raws, graph)
    positive = eye.positive
    trials, told = trials_of(raws, positive, screen, graph, notes)
    return Seen(
        event=event,
        positive=positive,
        grade=first.seen.grade,
        view=first.view,
        views=(first.view,) if len(raws) == 1 else tuple(sorted([r.view for r in raws])),
        trials=trials,
        half_depth_told=told,
        really=eye.really,
        leak=eye.leak,
        scale=eye.scale,
    )


def _sightings(
    positives: tuple[Seen, ...], target: str | None, graph: Graph
) -> tuple[Sighting, ...]:
    decision, change_of = graph.decision, graph.change_of
    leaks: Mapping[str, float] = decision.grade_leak  # type: ignore[assignment]
    matters: Mapping[str, float] = decision.grade_weight  # type: ignore[assignment]
    weights = graph.weights[target] if target else None
    found = []
    for seen in positives:
        event, grade, leak = seen.event, seen.grade, seen.leak
        odds = leak / (1 - leak) * leaks[grade]
        weight = weights[event] if weights is not None else 0.0
        one = Sighting(
            event=event,
            leak=min(odds / (1 + odds), STRONGEST),
            scale=seen.scale,
            trials=tuple([(change_of[t.change], REPORTS[t.result]) for t in seen.trials]),
            relevance=weight * matters[grade],
        )
        found.append(one)
    return tuple(found)


def _warn_of_opposites(
    positives: tuple[Seen, ...], graph: Graph, groups: Mapping[int, list[Raw]], notes: list[Note]
) -> None:
    twins, positive = _TWINS.of(graph), {s.event for s in positives}
    for event in sorted(positive):
        if twins[event] in positive:
            raw = groups[event][0]
            notes.append(
                Note(code="opposites_seen", pointer=raw.pointer, values=names_of(raw.seen))
            )


def _twins(graph: Graph) -> tuple[int, ...]:
    """Return for each event that of the opposite finding, -1 where there is none."""
    found = []
    for key in graph.events:
        other = graph.findings[key.finding].opposite
        twin = graph.event_of.get((key.movement, other, key.side)) if other else None
        found.append(-1 if twin is None else twin)
    return tuple(found)


_TWINS = Keeper(_twins)


def _target(screen: Screen, seen: list[Seen], graph: Graph, notes: list[Note]) -> str | None:
    """Return the target asked for, or the first by pack order among movements with a finding."""
    if screen.target is not None:
        if screen.target in graph.movements:
            return screen.target
        notes.append(
            Note(
                code="target_not_covered", pointer="/target", values=(("movement", screen.target),)
            )
        )
    with_finding = {graph.events[s.event].movement for s in seen if s.positive}
    looked_at = {graph.events[s.event].movement for s in seen}
    for movements in (with_finding, looked_at):
        for target in graph.targets:
            if target in movements:
                return target
    return None


def _known(screen: Screen, graph: Graph, notes: list[Note]) -> Iterator[tuple[int, int, bool]]:
    """Yield (variable, mask, present) of what the coach knows; a contradiction counts for none."""
    told: dict[tuple[int, int], set[bool]] = {}
    where: dict[tuple[int, int], str] = {}
    for n, known in enumerate(screen.known):
        pointer = f"/known/{n}"
        variable = graph.variable_of.get(known.cause)
        if variable is None:
            near = nearest(known.cause, graph.variable_of)
            notes.append(Note(code="unknown_cause", pointer=pointer, values=(("nearest", near),)))
            continue
        sided = graph.causes[known.cause].sided
        if sided and known.side == "none" and known.present:
            notes.append(Note(code="side_missing", pointer=pointer, values=()))
            continue
        masks = _masks(known.side) if sided else (ANY,)
        for mask in masks:
            told.setdefault((variable, mask), set()).add(known.present)
            where[variable, mask] = pointer
    for (variable, mask), values in sorted(told.items()):
        if len(values) == 1:
            yield variable, mask, values.pop()
        else:
            notes.append(Note(code="known_conflict", pointer=where[variable, mask]))


def _masks(side: Side) -> tuple[int, ...]:
    if side == "left":
        return (LEFT,)
    return (RIGHT,) if side == "right" else (LEFT, RIGHT)


def _add_unknown_ids(screen: Screen, graph: Graph, notes: list[Note]) -> None:
    """Add a warning for each id of an open vocabulary that the pack does not hold."""
    drills = graph.drills
    _add_unknown("kit", screen.kit, graph.kit, notes)
    _add_unknown("recent", screen.recent, drills, notes)
    _add_unknown("avoid", screen.avoid, drills, notes)


def _add_unknown(
    field: str, ids: tuple[str, ...], known: Mapping[str, object], notes: list[Note]
) -> None:
    for n, one in enumerate(ids):
        if one not in known:
            code = "unknown_kit" if field == "kit" else "unknown_drill"
            values = (("nearest", nearest(one, known)),)
            notes.append(Note(code=code, pointer=f"/{field}/{n}", values=values))


def nearest(unknown: str, known: Iterable[str]) -> str:
    """Return the known id that looks most like an unknown one, or an empty string."""
    return next(iter(difflib.get_close_matches(unknown, list(known), n=1, cutoff=0.5)), "")
