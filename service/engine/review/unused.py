"""What was not used, or not compared, with pointers into the request.

Apart from the review because none of it changes what is decided.
"""

from collections.abc import Iterator

from msgspec.structs import replace

from service.engine.limits import warnings_of
from service.engine.read import Reading, nearest, read
from service.engine.review.findings import Looks
from service.engine.review.measures import Key, Value
from service.engine.review.notes import pain_in_drills
from service.engine.words import Words
from service.model.answer import Warning
from service.model.graph import Graph
from service.model.network import Posterior
from service.model.review import ReviewRequest


def warning(words: Words, code: str, pointer: str, **values: object) -> Warning:
    """Return one warning with its text."""
    return Warning(code=code, pointer=pointer, text=words.say(f"warn_{code}", **values))


def of_screen(
    where: str, reading: Reading, posterior: Posterior | None, graph: Graph, words: Words
) -> list[Warning]:
    """Return the warnings of one screen with pointers into the request."""
    found = warnings_of(reading, posterior, graph, words)
    return [replace(one, pointer=where + one.pointer) for one in found]


def of_between(request: ReviewRequest, graph: Graph, words: Words) -> Iterator[Warning]:
    """Yield what is wrong with the measurements of screens between, of which no more is used."""
    for n, visit in enumerate(request.between):
        where = f"/between/{n}/screen"
        for one in of_screen(where, read(visit.screen, graph), None, graph, words):
            if one.pointer.startswith(f"{where}/measurements"):
                yield one


def of_pain(request: ReviewRequest, graph: Graph, words: Words) -> Iterator[Warning]:
    """Yield one warning where pain in a drill stands in for pain that nobody asked about."""
    if request.retest.client.pain is None and pain_in_drills(request, graph):
        yield warning(words, "pain_from_drills", "/retest/client/pain")


def not_compared(
    looks: Looks,
    first: dict[Key, Value],
    last: dict[Key, Value],
    graph: Graph,
    words: Words,
) -> Iterator[Warning]:
    """Yield what only one of the screens has: another side, another method, or nothing at all."""
    for where, own, others in (
        ("/baseline", looks.only_first, looks.only_last),
        ("/retest", looks.only_last, looks.only_first),
    ):
        twins = {(graph.events[s.event].movement, graph.events[s.event].finding) for s in others}
        for seen in own:
            key = graph.events[seen.event]
            if not seen.positive:
                continue
            code = "side_differs" if (key.movement, key.finding) in twins else "looked_once"
            yield warning(
                words,
                code,
                f"{where}/observations",
                movement=words.name(graph.movements[key.movement].name),
                finding=words.name(graph.findings[key.finding].name),
                side=words.side(key.side),
            )
    for where, mine, theirs in (("/baseline", first, last), ("/retest", last, first)):
        for measure, method, side in sorted(mine.keys() - theirs.keys()):
            by_side = {(m, s) for m, _, s in theirs}
            by_method = {(m, t) for m, t, _ in theirs}
            code = "measured_once"
            if (measure, side) in by_side:
                code = "method_differs"
            elif (measure, method) in by_method:
                code = "measured_other_side"
            yield warning(
                words,
                code,
                f"{where}/measurements",
                measure=words.name(graph.measures[measure].name),
                side=words.side(side),
            )


def unknown_drills(request: ReviewRequest, graph: Graph, words: Words) -> Iterator[Warning]:
    """Yield one warning for each drill that was done and that the pack does not hold."""
    for n, one in enumerate(request.done):
        if one.drill not in graph.drills:
            near = nearest(one.drill, graph.drills)
            said = words.say("nearest", nearest=near) if near else words.say("nearest_none")
            yield warning(words, "unknown_drill", f"/done/{n}/drill", nearest=said)
