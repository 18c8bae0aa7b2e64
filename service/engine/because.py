"""One reason at a time: what a look, a trial, a measurement or the coach says of one cause.

Apart from the reasons of a cause because what the pack alone says of a look is kept here, so that
only the cause and how far its belief was moved are put in anew.
"""

from typing import get_args

from msgspec.structs import replace

from service.engine.kept import Keeper
from service.engine.measured import Measured
from service.engine.read import Seen
from service.engine.rounding import rounded
from service.engine.words import Spoken, Words
from service.model.answer import Because
from service.model.graph import Graph
from service.model.knowledge import ChangeRecord
from service.model.quantities import Result, View

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


TRIED: dict[str, str] = {result: f"trial_{result}" for result in get_args(Result)}
FROM_DEPTH: dict[str, str] = {result: f"depth_{result}" for result in get_args(Result)}
"""Codes of what a trial says, by its result."""


class Look:
    """What the pack says of an event that is looked for in one view, whatever was seen.

    `cited` are by cause the sources of its links to the finding and of the eye, as far as asked.
    """

    def __init__(self, words: Words, graph: Graph, event: int, view: View) -> None:
        key = graph.events[event]
        self.event = event
        self.view = view
        self.movement = key.movement
        self.finding = key.finding
        self.side = key.side
        self.eye = graph.eyes[key.movement, key.finding, view].source
        self.cited: dict[str, tuple[str, ...]] = {}
        self.in_movement = words.movement(key.movement)
        self.in_view = words.plain(f"view_{view}")
        self.of_finding = words.finding(key.finding)
        self.on_side = words.side(key.side)


class Looks:
    """The looks of a pack in one language, and the sources of links, as far as asked."""

    def __init__(self, spoken: Spoken) -> None:
        self.graph = spoken.graph
        self._known: dict[tuple[int, View], Look] = {}
        self._links: dict[tuple[str, str], tuple[str, ...]] = {}

    def of(self, words: Words, seen: Seen) -> Look:
        """Return the look at what was looked for, in the view that speaks for it."""
        place = seen.event, seen.view
        look = self._known.get(place)
        if look is None:
            look = self._known[place] = Look(words, self.graph, seen.event, seen.view)
        return look

    def sources(self, look: Look, cause: str) -> tuple[str, ...]:
        """Return the sources of the links in play and of the eye that saw."""
        pair, graph = (cause, look.finding), self.graph
        linked = self._links.get(pair)
        if linked is None:
            cited = {s for link in graph.link_of.get(pair, ()) for s in graph.links[link].sources}
            linked = self._links[pair] = tuple(sorted(cited))
        sources = linked if look.eye in linked else tuple(sorted([*linked, look.eye]))
        look.cited[cause] = sources
        return sources


_LOOKS = Keeper(Looks)


def looks_of(words: Words) -> Looks:
    """Return the looks of a pack in the language that is spoken."""
    return _LOOKS.of(words.spoken)


class Told:
    """What was looked for, with what it says before it speaks of a cause, made when it is said."""

    def __init__(self, words: Words, looks: Looks, seen: Seen) -> None:
        self._words = words
        self._looks = looks
        self._seen = seen
        self._at = looks.of(words, seen)
        self._look: Because | None = None
        self._trials: list[Because | None] = [None] * len(seen.trials)

    def look(self, cause: str, moved: float) -> Because:
        """Return what the look says of a cause, with the sources of the links and of the eye."""
        at, look = self._at, self._look
        if look is None:
            code = "seen" if self._seen.positive else "not_seen"
            look = self._look = _template(self._words, at, code, self._seen.grade, None)
        sources = at.cited.get(cause)
        if sources is None:
            sources = self._looks.sources(at, cause)
        return replace(look, cause=cause, moved=moved, sources=sources)

    def trial(self, nth: int, cause: str, moved: float) -> Because:
        """Return what one of the trials says of a cause."""
        template = self._trials[nth]
        if template is None:
            seen, graph = self._seen, self._looks.graph
            trial = seen.trials[nth]
            from_depth = seen.half_depth_told and trial.change == "half_depth"
            code = FROM_DEPTH[trial.result] if from_depth else TRIED[trial.result]
            change = graph.changes[trial.change]
            template = _template(self._words, self._at, code, seen.grade, change)
            self._trials[nth] = template
        return replace(template, cause=cause, moved=moved)


def _template(
    words: Words, look: Look, code: str, grade: str, change: ChangeRecord | None
) -> Because:
    """Return what all causes share in the reason of what was seen, not seen or tried."""
    made_of = (code, look.event, look.view, grade, change.id if change else None)
    known = words.reasons.get(made_of)
    if known is None:
        known = words.reasons.keep(made_of, _made(words, look, code, grade, change))
    return known


def _made(words: Words, look: Look, code: str, grade: str, change: ChangeRecord | None) -> Because:
    text = words.say(
        code,
        movement=look.in_movement,
        view=look.in_view,
        finding=look.of_finding,
        side=look.on_side,
        grade=words.plain(f"grade_{grade}"),
        change=words.change(change.id) if change else "",
    )
    return replace(
        NOTHING,
        code=code,
        text=text,
        movement=look.movement,
        view=look.view,
        finding=look.finding,
        side=look.side,
        change=change.id if change else None,
        result=code.partition("_")[2] if change else None,
        sources=change.sources if change else (),
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
        value=rounded(measured.value, 6),
        unit=measured.unit,
        cause=cause,
        moved=rounded(moved, 6),
        sources=measured.sources,
    )


def plainly(words: Words, code: str, *, cause: str) -> Because:
    """Return a reason that is a code and its sentence, without values."""
    return replace(NOTHING, code=code, text=words.plain(code), cause=cause)
