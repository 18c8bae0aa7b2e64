"""From a draft without faults to the graph that the engine walks.

Apart from the checks because here nothing can go wrong any more: every name resolves.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import TypeVar

from service.compiler.digest import digest_of
from service.compiler.draft import Draft, Records
from service.compiler.network import build_network
from service.compiler.offers import build_offers
from service.compiler.trim import served
from service.model.graph import EventKey, EyeNumbers, Graph, Pack
from service.model.quantities import MICRO

_K = TypeVar("_K")
_V = TypeVar("_V")


def freeze(draft: Draft) -> Graph:
    """Return the graph of a draft in which no check found a fault."""
    digest = digest_of(draft)
    live = served(draft.live)
    (decision,) = live.decision.values()
    figure = next(iter(live.figure.values()), None)
    network, events = build_network(live, decision)
    targets = _targets(draft, live)
    return Graph(
        pack=Pack(name=draft.manifest.name, version=draft.manifest.version, digest=digest),
        decision=decision,
        figure=figure,
        movements=_fixed(live.movements),
        findings=_fixed(live.findings),
        causes=_fixed(live.causes),
        links=_fixed(live.links),
        changes=_fixed(live.changes),
        cutoffs=_fixed(live.cutoffs),
        measures=_fixed(live.measures),
        muscles=_fixed(live.muscles),
        drills=_fixed(live.drills),
        ladders=_fixed(live.ladders),
        kit=_fixed(live.kit),
        cautions=_fixed(live.cautions),
        alerts=_fixed(live.alerts),
        postures=_fixed(live.postures),
        rules=_fixed(live.rules),
        doses=_fixed(live.doses),
        sources=_fixed(live.sources),
        texts=_texts(live),
        network=network,
        variable_of=_fixed({v.id: n for n, v in enumerate(network.variables)}),
        change_of=_fixed({change: n for n, change in enumerate(network.changes)}),
        events=events,
        event_of=_fixed({(e.movement, e.finding, e.side): n for n, e in enumerate(events)}),
        eyes=_eyes(live),
        link_of=_link_of(live),
        weights=_fixed({target: _weights(live, events, target) for target in targets}),
        targets=targets,
        offers=build_offers(live, decision),
        curve=tuple((round(a * MICRO), round(b * MICRO)) for a, b in decision.returns),
    )


def _fixed(items: Mapping[_K, _V]) -> Mapping[_K, _V]:
    return MappingProxyType(dict(items))


def _targets(draft: Draft, live: Records) -> tuple[str, ...]:
    """Return the live movements, those of the manifest's order first and the others by id."""
    first = [target for target in draft.manifest.target_order if target in live.movements]
    return (*first, *(target for target in live.movements if target not in first))


def _texts(live: Records) -> Mapping[str, Mapping[str, str]]:
    languages: dict[str, dict[str, str]] = {}
    for key, record in live.texts.items():
        languages.setdefault(key.partition("/")[0], {})[record.id] = record.text
    return _fixed({language: _fixed(codes) for language, codes in languages.items()})


def _eyes(live: Records) -> Mapping[tuple[str, str, str], EyeNumbers]:
    eyes = {
        (movement, finding.id, view): EyeNumbers(
            sensitivity=eye.sensitivity, specificity=eye.specificity, source=eye.source
        )
        for finding in live.findings.values()
        for eye in finding.eyes
        for movement in eye.movements
        for view in eye.views
    }
    return _fixed(dict(sorted(eyes.items())))


def _link_of(live: Records) -> Mapping[tuple[str, str], tuple[str, ...]]:
    found: dict[tuple[str, str], tuple[str, ...]] = {}
    for link in live.links.values():
        key = (link.cause, link.finding)
        found[key] = (*found.get(key, ()), link.id)
    return _fixed(dict(sorted(found.items())))


def _weights(live: Records, events: tuple[EventKey, ...], target: str) -> tuple[float, ...]:
    """Return how much each event matters for a target.

    The weight of the finding for the target, times how much the movement speaks for it.
    """
    # plain dicts: a target is a str here and a Literal as their key
    matters = {
        finding.id: dict[str, float](finding.weights.items()).get(target, finding.weight)
        for finding in live.findings.values()
    }
    speaks = {
        movement.id: 1.0
        if movement.id == target
        else dict[str, float](movement.speaks_for.items()).get(target, 0.0)
        for movement in live.movements.values()
    }
    return tuple(round(matters[event.finding] * speaks[event.movement], 9) for event in events)
