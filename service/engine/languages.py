"""The pack in another language: the same graph, with what is said of its records translated.

Apart from the words because those render codes; here names and sentences that stand in records
are exchanged, so that nothing which decides can tell one language from another.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TypeVar

import msgspec

from service.model.graph import Graph
from service.model.knowledge import CauseRecord, MeasureRecord, Record
from service.model.spoken import SPOKEN, does_id, how_id

ENGLISH = "en"
_T = TypeVar("_T", bound=Record)
_known: list[tuple[Graph, dict[str, Graph]]] = []
_KNOWN_AT_MOST = 2


def language_of(wanted: str | None, graph: Graph) -> str:
    """Return the language that is spoken: the one wanted if the pack has it, else English."""
    primary = (wanted or ENGLISH).split("-", 1)[0].lower()
    return primary if primary in graph.texts else ENGLISH


def language_accepted(header: str | None, graph: Graph) -> str:
    """Return the language of an Accept-Language header that the pack has (RFC 9110, 12.5.4).

    The range of the highest quality first, ties in the order sent; English where none fits or
    the header makes no sense.
    """
    ranges = []
    for at, entry in enumerate((header or "").split(",")[:32]):
        tag, *parameters = [part.strip().lower() for part in entry.split(";")]
        ranges.append((-_quality(parameters), at, tag.split("-", 1)[0]))
    for minus, _, primary in sorted(ranges):
        if minus < 0 and (primary in graph.texts or primary == "*"):
            return ENGLISH if primary == "*" else primary
    return ENGLISH


def _quality(parameters: list[str]) -> float:
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip() == "q":
            try:
                return float(value)
            except ValueError:
                return 0.0
    return 1.0


def graph_in(graph: Graph, wanted: str | None) -> Graph:
    """Return the graph in a language. Network, numbers, ids and digest are the same objects.

    Made once for each pack and language of this process, found by identity.
    """
    language = language_of(wanted, graph)
    if language == ENGLISH:
        return graph
    for known, spoken in _known:
        if known is graph or graph in spoken.values():
            if language not in spoken:
                spoken[language] = _translated(known, language)
            return spoken[language]
    spoken = {language: _translated(graph, language)}
    _known.append((graph, spoken))
    del _known[:-_KNOWN_AT_MOST]
    return spoken[language]


def _translated(graph: Graph, language: str) -> Graph:
    texts = graph.texts[language]

    def of(kind: str, records: Mapping[str, _T]) -> Mapping[str, _T]:
        return MappingProxyType({key: _record(kind, one, texts) for key, one in records.items()})

    return msgspec.structs.replace(
        graph,
        alerts=of("alerts", graph.alerts),
        causes=_each(of("causes", graph.causes), texts, _cause),
        cautions=of("cautions", graph.cautions),
        changes=of("changes", graph.changes),
        findings=of("findings", graph.findings),
        kit=of("kit", graph.kit),
        measures=_each(of("measures", graph.measures), texts, _measure),
        movements=of("movements", graph.movements),
        muscles=of("muscles", graph.muscles),
        rules=of("rules", graph.rules),
    )


def _record(kind: str, record: _T, texts: Mapping[str, str]) -> _T:
    """Return a record with its spoken fields exchanged where the language has them."""
    said = {f: texts.get(f"{kind}.{record.id}.{f}") for f in SPOKEN[kind]}
    return msgspec.structs.replace(record, **{f: t for f, t in said.items() if t is not None})


def _each(
    records: Mapping[str, _T],
    texts: Mapping[str, str],
    change: Callable[[_T, Mapping[str, str]], _T],
) -> Mapping[str, _T]:
    return MappingProxyType({key: change(one, texts) for key, one in records.items()})


def _cause(record: CauseRecord, texts: Mapping[str, str]) -> CauseRecord:
    """Return a cause with what its muscles do."""
    muscles = tuple(
        msgspec.structs.replace(m, does=texts.get(does_id(record.id, m.muscle), m.does))
        for m in record.muscles
    )
    return msgspec.structs.replace(record, muscles=muscles)


def _measure(record: MeasureRecord, texts: Mapping[str, str]) -> MeasureRecord:
    """Return a measure with how its methods are done."""
    methods = tuple(
        msgspec.structs.replace(m, how=texts.get(how_id(record.id, m.id), m.how))
        for m in record.methods
    )
    return msgspec.structs.replace(record, methods=methods)
