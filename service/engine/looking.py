"""What to look at before a plan is trusted: changes not tried, findings and measures not asked.

Apart from what comes after the drills because it asks of this screen what it does not say.
"""

from service.engine.kept import Bounded, Keeper
from service.engine.read import Reading, Seen
from service.engine.reasons import Facts
from service.engine.rounding import rounded
from service.engine.weigh import touched_by
from service.engine.words import KEPT_AT_MOST, Spoken, Words
from service.model.answer import CauseAnswer, LookAt
from service.model.graph import Graph
from service.model.knowledge import ChangeRecord, Look, MeasureRecord, Method
from service.model.quantities import View
from service.model.screen import Screen

MOST = 3
"""How many findings and changes are named: the trainer has minutes."""


def _none_told(_spoken: Spoken) -> Bounded[LookAt]:
    return Bounded(KEPT_AT_MOST)


_TOLD = Keeper(_none_told)
"""Looks by movement, finding, view and change, in one language: the pack alone says them."""


def look_at(
    facts: Facts, screen: Screen, causes: tuple[CauseAnswer, ...], words: Words
) -> tuple[LookAt, ...]:
    """Return what would tell most: changes not yet tried on what was seen, then what was not seen.

    By pack order; expected gains are computed by the next-check route, not here.
    """
    asked = _changes(facts, screen, words)
    if len(asked) < MOST:
        asked += _findings(facts, words, MOST - len(asked))
    return tuple(asked + _measures(facts, screen, causes, words))


def _changes(facts: Facts, screen: Screen, words: Words) -> list[LookAt]:
    """Return untried changes of the heaviest sighting, those that the likeliest causes answer to.

    As many as are named at most.
    """
    graph, reading = facts.graph, facts.reading
    seen = _heaviest(reading)
    if seen is None:
        return []
    key = graph.events[seen.event]
    tried = {trial.change for trial in seen.trials}
    kit, remote = frozenset(screen.kit), screen.setting == "remote"
    weights = _weights_of(facts, seen)
    spread = []
    for change in _CHANGES.of(graph).get(key.movement, ()):
        if change.id in tried or (remote and not change.remote) or not change.kit <= kit:
            continue
        telling = 0.0
        for weight, persists in weights:
            telling = max(telling, weight * (1 - persists[change.at]))
        spread.append((rounded(-telling, 3), change.id))
    spread.sort()
    movement, finding, view = key.movement, key.finding, seen.view
    return [_try(graph, movement, finding, view, told, words) for _, told in spread[:MOST]]


def _heaviest(reading: Reading) -> Seen | None:
    """Return what was seen that matters most, the first of its events; None where nothing was."""
    most, first, heaviest = -1.0, 0, -1
    for n, sighting in enumerate(reading.evidence.sightings):
        relevance, event = sighting.relevance, sighting.event
        if relevance > most or (relevance == most and event < first):
            most, first, heaviest = relevance, event, n
    return reading.positives[heaviest] if heaviest >= 0 else None


class Change:
    """What decides whether a change can be tried: its place among all, its kit, and if remotely."""

    def __init__(self, graph: Graph, record: ChangeRecord) -> None:
        self.id = record.id
        self.at = graph.change_of[record.id]
        self.kit = frozenset(record.kit)
        self.remote = record.remote


def _by_movement(graph: Graph) -> dict[str, list[Change]]:
    """Return the changes that can be tried in each movement."""
    found: dict[str, list[Change]] = {}
    for record in graph.changes.values():
        for movement in record.movements:
            found.setdefault(movement, []).append(Change(graph, record))
    return found


_CHANGES = Keeper(_by_movement)


def _weights_of(facts: Facts, seen: Seen) -> list[tuple[int, tuple[float, ...]]]:
    """Return the weight of each cause of what was seen, and how far it persists under changes."""
    by_side = facts.weighing.by_side
    parents = facts.graph.network.events[seen.event].parents
    found = []
    for n, where in enumerate(touched_by(facts.graph)[seen.event]):
        weight = by_side.get(where)
        if weight is not None:
            found.append((weight, parents[n].persists))
    return found


def _try(
    graph: Graph, movement: str, finding: str, view: View, change: str, words: Words
) -> LookAt:
    known, made_of = _TOLD.of(words.spoken), (movement, finding, view, change)
    look = known.get(made_of)
    if look is None:
        text = words.say(
            "look_change",
            movement=words.movement(movement),
            change=words.change(change),
            how=graph.changes[change].how,
        )
        made = LookAt(
            text=text,
            movement=movement,  # type: ignore[arg-type]
            view=view,
            finding=finding,  # type: ignore[arg-type]
            change=change,  # type: ignore[arg-type]
            measure=None,
        )
        look = known.keep(made_of, made)
    return look


def _findings(facts: Facts, words: Words, most: int) -> list[LookAt]:
    """Return what the target's record looks for and nobody has looked at."""
    graph, reading = facts.graph, facts.reading
    events = graph.events
    looked = set()
    for kind in (reading.positives, reading.negatives):
        for seen in kind:
            key = events[seen.event]
            looked.add((key.movement, key.finding))
    target = reading.target or graph.targets[0]
    found: list[LookAt] = []
    for movement, looks in _LOOKED_FOR.of(graph)[target]:
        for look in looks:
            if (movement, look.finding) not in looked:
                found.append(_look_for(movement, look, words))
                if len(found) == most:
                    return found
    return found


_LookedFor = dict[str, list[tuple[str, list[Look]]]]


def _looked_for(graph: Graph) -> _LookedFor:
    """Return for each target what its record and those that speak for it look for, by movement."""
    found: _LookedFor = {}
    for target in graph.targets:
        ids = [target, *(m for m in graph.targets if graph.movements[m].speaks_for.get(target))]  # type: ignore[call-overload]
        found[target] = [
            (
                one,
                [look for look in graph.movements[one].look_for if look.finding in graph.findings],
            )
            for one in ids
        ]
    return found


_LOOKED_FOR = Keeper(_looked_for)


def _look_for(movement: str, look: Look, words: Words) -> LookAt:
    view = look.views[0]
    known, made_of = _TOLD.of(words.spoken), (movement, look.finding, view, None)
    found = known.get(made_of)
    if found is None:
        text = words.say(
            "look_finding",
            movement=words.movement(movement),
            view=words.plain(f"view_{view}"),
            finding=words.finding(look.finding),
        )
        made = LookAt(
            text=text,
            movement=movement,  # type: ignore[arg-type]
            view=view,
            finding=look.finding,
            change=None,
            measure=None,
        )
        found = known.keep(made_of, made)
    return found


def _measures(
    facts: Facts, screen: Screen, causes: tuple[CauseAnswer, ...], words: Words
) -> list[LookAt]:
    """Return one measure of the leading causes that the kit allows and nobody has taken."""
    speaking, kit = _SPEAKING.of(facts.graph), frozenset(screen.kit)
    taken = {m.measure for m in facts.reading.measured}
    for cause in causes[:MOST]:
        for measure, method in speaking.get(cause.cause, ()):
            if measure.id not in taken and kit.issuperset(method.kit):
                name = words.name(measure.name)
                look = LookAt(
                    text=words.say("look_measure", measure=name, how=method.how),
                    movement=None,
                    view=None,
                    finding=None,
                    change=None,
                    measure=measure.id,  # type: ignore[arg-type]
                )
                return [look]
    return []


_Speaking = dict[str, list[tuple[MeasureRecord, Method]]]


def _speaking(graph: Graph) -> _Speaking:
    """Return the measures that speak for each cause, with the method that is usual."""
    found: _Speaking = {}
    for measure in graph.measures.values():
        if not measure.silent:
            method = next(m for m in measure.methods if m.id == measure.default_method)
            for cause in {s.cause for s in measure.speaks_for}:
                found.setdefault(cause, []).append((measure, method))
    return found


_SPEAKING = Keeper(_speaking)
