"""Screens made from the pack itself, so that every record has its occasion.

Apart from golden cases, which somebody meant: these only ask whether a record ever does anything.
"""

from collections.abc import Iterator

import msgspec

from service.model.graph import Graph
from service.model.knowledge import ChangeRecord, DrillRecord, Fact, LinkRecord, MeasureRecord
from service.model.screen import Screen

Plain = dict[str, object]
HEALTHY: Plain = {"alerts": [], "conditions": [], "pain": []}
HERE = "knee"
"""Region of a complaint for which a record names none."""


Key = tuple[str, str]
"""Kind and id of a record."""


def sweep(graph: Graph) -> Iterator[tuple[Key, Iterator[Screen]]]:
    """Yield records in a fixed order, each with screens that call for it until one shows it."""
    looks = sorted({(movement, finding) for movement, finding, _ in graph.eyes})
    for movement, finding in looks:
        yield ("findings", finding), iter([_screen([_seen(graph, movement, finding)])])
    for link in graph.links.values():
        yield ("links", link.id), _for_link(link, graph)
    for drill in graph.drills.values():
        yield ("drills", drill.id), _for_drill(drill, graph, _all_kit(drill))
    for kit in graph.kit.values():
        yield ("kit", kit.id), _for_kit(kit.id, graph)
    for change in graph.changes.values():
        yield ("changes", change.id), _for_change(change, looks, graph)
    for measure in graph.measures.values():
        yield ("measures", measure.id), _for_measure(measure, graph)
    for alert in graph.alerts.values():
        yield ("alerts", alert.id), (_told(facts, graph) for facts in alert.when)
    for caution in graph.cautions.values():
        yield ("cautions", caution.id), (_told(facts, graph) for facts in caution.when)
    for rule in graph.rules.values():
        yield ("rules", rule.id), _for_rule(looks, graph)


def _for_rule(looks: list[tuple[str, str]], graph: Graph) -> Iterator[Screen]:
    """Yield sessions that are short of time, and sessions at a distance."""
    for movement, finding in looks:
        seen = _seen(graph, movement, finding)
        other = [{**seen, "movement": m, "view": v} for m, f, v in graph.eyes if f == finding]
        for minutes in (8, 12):
            yield _screen([seen, *other[:6]], target=movement, minutes=minutes)
        yield _screen([seen, *other[:6]], target=movement, setting="remote", minutes=30)


def _for_link(link: LinkRecord, graph: Graph) -> Iterator[Screen]:
    for movement in link.strengths:
        known = _known(graph, link.cause)
        seen = _seen(graph, movement, link.finding)
        yield _screen([seen], known=[known], target=movement, minutes=20)


def _for_change(
    change: ChangeRecord, looks: list[tuple[str, str]], graph: Graph
) -> Iterator[Screen]:
    trial: Plain = {"change": change.id, "result": "gone", "repeats": True}
    for movement, finding in looks:
        if movement in change.movements:
            yield _screen([_seen(graph, movement, finding, trials=[trial])], target=movement)


def _screen(observations: list[Plain], **more: object) -> Screen:
    client = more.pop("client", HEALTHY)
    return msgspec.convert({"observations": observations, "client": client, **more}, Screen)


def _seen(graph: Graph, movement: str, finding: str, trials: list[Plain] | None = None) -> Plain:
    view = next(v for m, f, v in graph.eyes if (m, f) == (movement, finding))
    return {
        "movement": movement,
        "finding": finding,
        "view": view,
        "grade": "marked",
        "side": "left" if graph.findings[finding].sided else "none",
        "trials": trials or [],
    }


def _known(graph: Graph, cause: str) -> Plain:
    side = "left" if graph.causes[cause].sided else "none"
    return {"cause": cause, "present": True, "side": side}


def _for_measure(measure: MeasureRecord, graph: Graph) -> Iterator[Screen]:
    """Yield a reading by each method, as far off as with the cause it speaks for."""
    mean = measure.references[0].mean if measure.references else measure.lowest
    shift = measure.speaks_for[0].shift if measure.speaks_for else 0.0
    causes = [
        link for s in measure.speaks_for for link in graph.links.values() if link.cause == s.cause
    ]
    seen = [_seen(graph, min(one.strengths), one.finding) for one in causes[:1] if one.strengths]
    for method in measure.methods:
        reading: Plain = {
            "measure": measure.id,
            "value": max(measure.lowest, min(measure.highest, mean + 2 * shift)),
            "unit": measure.unit,
            "side": "left" if measure.sided else "none",
            "method": method.id,
        }
        yield _screen(seen, measurements=[reading])


def _told(facts: tuple[Fact, ...], graph: Graph) -> Screen:
    """Return somebody of whom every fact holds, and no more than that."""
    client: dict[str, object] = dict(HEALTHY)
    conditions, readings = [], []
    pain: dict[str, object] = {}
    for fact in facts:
        if fact.alert is not None:
            client["alerts"] = [fact.alert]
        if fact.age_from is not None or fact.age_to is not None:
            client["age_years"] = fact.age_to if fact.age_from is None else fact.age_from
        if fact.condition is not None:
            one: Plain = {"id": fact.condition, "region": HERE, "cleared": bool(fact.cleared)}
            conditions.append({**one, "weeks_ago": fact.within_weeks})
        if fact.measure is not None:
            value = fact.at_most if fact.at_least is None else fact.at_least
            measure = graph.measures[fact.measure]
            side = "left" if measure.sided else "none"
            readings.append(
                {"measure": measure.id, "value": value, "unit": measure.unit, "side": side}
            )
        pain |= _pain(fact)
    client["conditions"] = conditions
    client["pain"] = [{"region": HERE, "score": 1, **pain}] if pain else []
    look = min((movement, finding) for movement, finding, _ in graph.eyes)
    return _screen([_seen(graph, *look)], client=client, measurements=readings)


def _pain(fact: Fact) -> dict[str, object]:
    told = {
        "region": fact.pain_region,
        "score": fact.pain_from or (1 if fact.pain_any else None),
        "kind": fact.pain_kind,
        "when": fact.pain_when,
    }
    return {name: value for name, value in told.items() if value is not None}


def _all_kit(drill: DrillRecord) -> tuple[str, ...]:
    return tuple(sorted({one for way in drill.kit for one in way}))


def _for_kit(kit: str, graph: Graph) -> Iterator[Screen]:
    """Yield screens with no more kit than one way of a drill needs, this among it."""
    for drill in graph.drills.values():
        for way in drill.kit:
            if kit in way:
                yield from _for_drill(drill, graph, way)


def _for_drill(drill: DrillRecord, graph: Graph, kit: tuple[str, ...]) -> Iterator[Screen]:
    """Yield screens that call for this drill above all others of its kind."""
    rivals = [other.id for other in graph.drills.values() if _rival(other, drill)]
    client = {**HEALTHY, "level": drill.level}
    for trained in drill.trains:
        for link in graph.links.values():
            for movement in link.strengths if link.cause == trained.cause else ():
                trials: list[Plain] = []
                if drill.helper is not None and drill.helper in graph.changes:
                    if movement not in graph.changes[drill.helper].movements:
                        continue
                    trials = [{"change": drill.helper, "result": "gone", "repeats": True}]
                yield _screen(
                    [_seen(graph, movement, link.finding, trials=trials)],
                    target=drill.pattern or movement,
                    minutes=30,
                    kit=list(kit),
                    client=client,
                    known=[_known(graph, link.cause)],
                    avoid=rivals[:256],
                )


def _rival(other: DrillRecord, drill: DrillRecord) -> bool:
    """Say if another drill would take the place, and is not the plain round that must follow."""
    if other.id == drill.id:
        return False
    if drill.pattern is None or other.pattern != drill.pattern:
        return other.pattern is None
    return drill.helper is None or other.helper is not None
