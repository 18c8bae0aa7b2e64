"""From a screen to evidence: what can be weighed, what stands aside, and what was not asked.

Nothing is decided here. Whatever cannot be used is left out with a warning that points at it;
everything else keeps its way back to what the coach saw, so that reasons can name it.
"""

import difflib
from collections.abc import Iterable, Iterator, Mapping

import msgspec

from service.engine.eye import Eye, Look, eye_of
from service.engine.kept import Keeper
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
    Report,
    Sighting,
)
from service.model.quantities import Side, View
from service.model.records import Leaf
from service.model.screen import Observation, Screen, Trial

REPORTS: Mapping[str, Report] = {"gone": 0, "better": 1, "same": 2, "worse": 2}
GRADES = ("marked", "mild", "absent")


class Note(Leaf, frozen=True, kw_only=True):
    """A warning before it has words: a code, a pointer into the screen, and its values."""

    code: str
    pointer: str
    values: tuple[tuple[str, str], ...] = ()


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


class _Raw(Leaf, frozen=True, kw_only=True):
    pointer: str
    seen: Observation
    side: Side


def read(screen: Screen, graph: Graph) -> Reading:
    """Return the evidence in a screen, in an order that does not depend on the screen's."""
    screen = in_pack_units(screen, graph)
    notes: list[Note] = list(_not_asked(screen))
    groups: dict[int, list[_Raw]] = {}
    for raw in _expand(screen, graph, notes):
        key = (raw.seen.movement, raw.seen.finding, raw.side)
        groups.setdefault(graph.event_of[key], []).append(raw)
    seen = [_join(event, groups[event], screen, graph, notes) for event in sorted(groups)]
    positives = tuple([s for s in seen if s.positive])
    negatives = tuple([s for s in seen if not s.positive])
    if len(positives) > 1:
        _warn_of_opposites(positives, graph, groups, notes)
    target = _target(screen, seen, graph, notes)
    measured, measured_notes = read_measurements(screen, graph)
    known = tuple(_known(screen, graph, notes)) if screen.known else ()
    notes += [Note(code=c, pointer=p, values=v) for c, p, v in measured_notes]
    notes += _unknown_ids(screen, graph)
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
    weights = graph.weights[target] if target else (0.0,) * len(graph.events)
    return Evidence(
        sightings=tuple([_sighting(s, weights[s.event], graph) for s in positives]),
        absences=tuple([Absence(event=s.event, scale=s.scale) for s in negatives]),
        ratios=tuple([LikelihoodRatio(targets=m.targets, ratio=m.ratio) for m in measured]),
        fixed=tuple([Fixed(variable=v, mask=m, present=p) for v, m, p in known]),
    )


def _not_asked(screen: Screen) -> Iterator[Note]:
    for field in ("alerts", "conditions", "pain"):
        if getattr(screen.client, field) is None:
            yield Note(code="not_asked", pointer=f"/client/{field}", values=(("field", field),))
    if not screen.observations:
        yield Note(code="nothing_looked_at", pointer="/observations")


def _expand(screen: Screen, graph: Graph, notes: list[Note]) -> Iterator[_Raw]:
    """Yield each usable observation once a side."""
    for n, seen in enumerate(screen.observations):
        pointer = f"/observations/{n}"
        code = _unusable(seen, graph)
        if code:
            notes.append(Note(code=code, pointer=pointer, values=_names(seen)))
            continue
        if not graph.findings[seen.finding].sided:
            if seen.side != "none":
                notes.append(Note(code="side_ignored", pointer=pointer, values=_names(seen)))
            yield _Raw(pointer=pointer, seen=seen, side="none")
            continue
        sides: tuple[Side, ...] = ("left", "right") if seen.side == "both" else (seen.side,)
        for side in sides:
            yield _Raw(pointer=pointer, seen=seen, side=side)


def _unusable(seen: Observation, graph: Graph) -> str:
    """Return why an observation cannot be weighed, or an empty string."""
    if seen.movement not in graph.movements or not graph.movements[seen.movement].watched:
        return "movement_not_covered"
    finding = graph.findings.get(seen.finding)
    if finding is None:
        return "finding_not_covered"
    if (seen.movement, seen.finding, seen.view) not in graph.eyes:
        return "not_visible"
    if finding.sided and seen.side == "none":
        return "side_missing"
    return ""


def _names(seen: Observation) -> tuple[tuple[str, str], ...]:
    return (("finding", seen.finding), ("movement", seen.movement), ("view", seen.view))


def _join(event: int, raws: list[_Raw], screen: Screen, graph: Graph, notes: list[Note]) -> Seen:
    """Return one event from all looks at it: one look a view, the plainest grade first."""
    if len(raws) > 1:
        raws[:] = _one_a_view(raws, notes)
    first = raws[0].seen
    eye = _eye_on(event, raws, graph)
    trials: tuple[Trial, ...] = ()
    told = False
    if any(raw.seen.trials or raw.seen.depth for raw in raws):
        trials, told = _trials(raws, eye.positive, screen, graph, notes)
    return Seen(
        event=event,
        positive=eye.positive,
        grade=first.grade,
        view=first.view,
        views=(first.view,) if len(raws) == 1 else tuple(sorted([r.seen.view for r in raws])),
        trials=trials,
        half_depth_told=told,
        really=eye.really,
        leak=eye.leak,
        scale=eye.scale,
    )


def _one_a_view(raws: list[_Raw], notes: list[Note]) -> list[_Raw]:
    """Return the plainest look of each view, with a warning for others and where views disagree."""
    kept: dict[View, _Raw] = {}
    for raw in sorted(raws, key=_plainest_first):
        if raw.seen.view in kept:
            values = _names(raw.seen)
            notes.append(Note(code="repeated_observation", pointer=raw.pointer, values=values))
        else:
            kept[raw.seen.view] = raw
    looks = list(kept.values())
    if len({r.seen.grade == "absent" for r in looks}) > 1:
        values = _names(looks[0].seen)
        notes.append(Note(code="views_disagree", pointer=looks[0].pointer, values=values))
    return looks


def _plainest_first(raw: _Raw) -> tuple[int, View, bytes]:
    return GRADES.index(raw.seen.grade), raw.seen.view, msgspec.json.encode(raw.seen)


def _eye_on(event: int, raws: list[_Raw], graph: Graph) -> Eye:
    """Return what the looks at an event say together; for one look it is made once for the pack."""
    if len(raws) > 1:
        return _eye_of(event, raws, graph)
    known, seen = _SINGLE.of(graph), raws[0].seen
    key = (event, seen.view, seen.grade != "absent")
    if key not in known:
        known[key] = _eye_of(event, raws, graph)
    return known[key]


def _eye_of(event: int, raws: list[_Raw], graph: Graph) -> Eye:
    looks = []
    for seen in [raw.seen for raw in raws]:
        eye = graph.eyes[seen.movement, seen.finding, seen.view]
        there, sensitivity, specificity = seen.grade != "absent", eye.sensitivity, eye.specificity
        looks.append(Look(seen=there, sensitivity=sensitivity, specificity=specificity))
    return eye_of(tuple(sorted(looks)), graph.network.events[event].leak)


def _no_eyes(_graph: Graph) -> dict[tuple[int, View, bool], Eye]:
    return {}


_SINGLE = Keeper(_no_eyes)


def _trials(
    raws: list[_Raw], positive: bool, screen: Screen, graph: Graph, notes: list[Note]
) -> tuple[tuple[Trial, ...], bool]:
    """Return the trials that count, by change, and if half depth was read from the depth."""
    found: dict[str, Trial] = {}
    for raw in raws:
        tried = enumerate(raw.seen.trials)
        for n, trial in sorted(tried, key=_trial_order) if len(raw.seen.trials) > 1 else tried:
            code = _trial_unusable(trial, raw, positive, screen, graph)
            if not code and trial.change in found:
                code = "repeated_change"
            if code:
                pointer = f"{raw.pointer}/trials/{n}"
                values = (("change", trial.change), *_names(raw.seen))
                notes.append(Note(code=code, pointer=pointer, values=values))
            else:
                found[trial.change] = trial
    told = positive and _read_depth(raws, found, graph, notes)
    return tuple([found[change] for change in sorted(found)]), told


def _trial_order(numbered: tuple[int, Trial]) -> tuple[str, str, str]:
    _, trial = numbered
    return trial.change, trial.result, str(trial.repeats)


def _trial_unusable(trial: Trial, raw: _Raw, positive: bool, screen: Screen, graph: Graph) -> str:
    change = graph.changes.get(trial.change)
    if raw.seen.grade == "absent" or not positive:
        return "trial_on_absent"
    if change is None or raw.seen.movement not in change.movements:
        return "change_not_covered"
    if screen.setting == "remote" and not change.remote:
        return "change_not_remote"
    return ""


def _read_depth(raws: list[_Raw], found: dict[str, Trial], graph: Graph, notes: list[Note]) -> bool:
    """Add the trial of half depth that a told depth stands for; say if it was added."""
    change = graph.changes.get("half_depth")
    added = False
    for raw in raws:
        depth = raw.seen.depth
        if depth in (None, "mid") or raw.seen.grade == "absent":
            continue
        if change is None or raw.seen.movement not in change.movements:
            continue
        told = Trial(change="half_depth", result="gone" if depth == "deep" else "same")
        held = found.setdefault("half_depth", told)
        added = added or held is told
        if REPORTS[held.result] != REPORTS[told.result]:
            notes.append(
                Note(code="depth_conflict", pointer=f"{raw.pointer}/depth", values=_names(raw.seen))
            )
    return added


def _sighting(seen: Seen, relevance: float, graph: Graph) -> Sighting:
    decision, grade = graph.decision, seen.grade
    odds = seen.leak / (1 - seen.leak) * decision.grade_leak[grade]  # type: ignore[index]
    return Sighting(
        event=seen.event,
        leak=min(odds / (1 + odds), 0.98),
        scale=seen.scale,
        trials=tuple([(graph.change_of[t.change], REPORTS[t.result]) for t in seen.trials]),
        relevance=relevance * decision.grade_weight[grade],  # type: ignore[index]
    )


def _warn_of_opposites(
    positives: tuple[Seen, ...], graph: Graph, groups: Mapping[int, list[_Raw]], notes: list[Note]
) -> None:
    positive = {s.event for s in positives}
    for event in sorted(positive):
        key = graph.events[event]
        other = graph.findings[key.finding].opposite
        twin = graph.event_of.get((key.movement, other, key.side)) if other else None
        if twin in positive:
            raw = groups[event][0]
            notes.append(Note(code="opposites_seen", pointer=raw.pointer, values=_names(raw.seen)))


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


def _unknown_ids(screen: Screen, graph: Graph) -> Iterator[Note]:
    """Yield a warning for each id of an open vocabulary that the pack does not hold."""
    for field, known in (("kit", graph.kit), ("recent", graph.drills), ("avoid", graph.drills)):
        ids: tuple[str, ...] = getattr(screen, field)
        for n, one in enumerate(ids):
            if one not in known:
                near = nearest(one, known)
                yield Note(
                    code=f"unknown_{'kit' if field == 'kit' else 'drill'}",
                    pointer=f"/{field}/{n}",
                    values=(("nearest", near),),
                )


def nearest(unknown: str, known: Iterable[str]) -> str:
    """Return the known id that looks most like an unknown one, or an empty string."""
    return next(iter(difflib.get_close_matches(unknown, list(known), n=1, cutoff=0.5)), "")
