"""One reason at a time: what a look, a trial, a measurement or the coach says of one cause.

Apart from the reasons of a cause because what the pack alone says of a look is kept here, so that
only the cause and how far its belief was moved are put in anew.
"""

from msgspec.structs import replace

from service.engine.kept import Keeper
from service.engine.measured import Measured
from service.engine.read import Seen
from service.engine.words import Words
from service.model.answer import Because
from service.model.graph import Graph
from service.model.quantities import View
from service.model.records import Leaf

NOTHING = Because(
    code="",
    text="",
    movement=None,
    view=None,
    finding=None,
    side=None,
    change=None,
    result=None,
    measure=None,
    value=None,
    unit=None,
    cause=None,
    rule=None,
    moved=None,
    sources=(),
)


Cited = dict[tuple[int, View], dict[str, tuple[str, ...]]]
"""By event and view, for each cause: the sources of its links and of the eye, as far as asked."""


def cited_in(graph: Graph) -> Cited:
    """Return the sources that were looked up, the same on every request."""
    return _CITED.of(graph)


def _none_cited(_graph: Graph) -> Cited:
    return {}


_CITED = Keeper(_none_cited)


class Told(Leaf, frozen=True):
    """What was looked for, with the reasons that it gives, before they speak of a cause."""

    seen: Seen
    look: Because
    cited: dict[str, tuple[str, ...]]
    trials: tuple[Because, ...] = ()


def told_of(words: Words, graph: Graph, cited: Cited, seen: Seen) -> Told:
    """Return what one event that was looked for may say of any cause."""
    trials = []
    for trial in seen.trials:
        from_depth = seen.half_depth_told and trial.change == "half_depth"
        code = f"depth_{trial.result}" if from_depth else f"trial_{trial.result}"
        trials.append(_template(words, graph, code, seen, trial.change))
    look = _template(words, graph, "seen" if seen.positive else "not_seen", seen)
    return Told(seen, look, cited.setdefault((seen.event, seen.view), {}), tuple(trials))


def about(graph: Graph, told: Told, cause: str, moved: float) -> Because:
    """Return what a look says of a cause, with the sources of the links and of the eye."""
    sources = told.cited.get(cause)
    if sources is None:
        sources = told.cited[cause] = _link_sources(graph, cause, told.seen)
    return replace(told.look, cause=cause, moved=round(moved, 6), sources=sources)


def _link_sources(graph: Graph, cause: str, seen: Seen) -> tuple[str, ...]:
    """Return the sources of the links in play and of the eye that saw."""
    key = graph.events[seen.event]
    links = graph.link_of.get((cause, key.finding), ())
    sources = {s for link in links for s in graph.links[link].sources}
    sources.add(graph.eyes[key.movement, key.finding, seen.view].source)
    return tuple(sorted(sources))


def _template(
    words: Words, graph: Graph, code: str, seen: Seen, change: str | None = None
) -> Because:
    """Return what all causes share in the reason of what was seen, not seen or tried."""
    made_of = (code, seen.event, seen.view, seen.grade, change)
    return words.reasons.get(made_of) or words.reasons.keep(
        made_of, _made(words, graph, code, seen, change)
    )


def _made(words: Words, graph: Graph, code: str, seen: Seen, change: str | None) -> Because:
    key = graph.events[seen.event]
    text = words.say(
        code,
        movement=words.name(graph.movements[key.movement].name),
        view=words.plain(f"view_{seen.view}"),
        finding=words.name(graph.findings[key.finding].name),
        side=words.side(key.side),
        grade=words.plain(f"grade_{seen.grade}"),
        change=words.name(graph.changes[change].name) if change else "",
    )
    return replace(
        NOTHING,
        code=code,
        text=text,
        movement=key.movement,
        view=seen.view,
        finding=key.finding,
        side=key.side,
        change=change,
        result=code.partition("_")[2] if change else None,
        sources=graph.changes[change].sources if change else (),
    )


def from_measurement(
    graph: Graph, words: Words, measured: Measured, moved: float, cause: str
) -> Because:
    """Return what a measurement says of a cause."""
    code = "measured_for" if moved > 0 else "measured_against"
    text = words.say(
        code,
        measure=words.name(graph.measures[measured.measure].name),
        side=words.side(measured.side),
        value=words.number(measured.value),
        unit=words.unit(measured.unit),
        mean=words.number(measured.mean),
    )
    return replace(
        NOTHING,
        code=code,
        text=text,
        side=measured.side,
        measure=measured.measure,
        value=round(measured.value, 6),
        unit=measured.unit,
        cause=cause,
        moved=round(moved, 6),
        sources=measured.sources,
    )


def plainly(words: Words, code: str, *, cause: str) -> Because:
    """Return a reason that is a code and its sentence, without values."""
    return replace(NOTHING, code=code, text=words.plain(code), cause=cause)
