"""From a screen and a number of weeks to the answer: decided first, said last.

Apart from the course and its doses because those know no sentence.
"""

import msgspec

from service.engine.contradict import dispute_warnings
from service.engine.decide import Decided, decide
from service.engine.languages import graph_in
from service.engine.limits import cautions_of, referrals_of, warnings_of
from service.engine.looking import look_at
from service.engine.outlook import retests
from service.engine.plan import decision_of, made_by
from service.engine.reasons import Facts, causes_of
from service.engine.series.course import course_of
from service.engine.series.tell import Series, drills_of, weeks_of
from service.engine.series.uncertain import criteria_of, notes_of, retest_days, summary_of
from service.engine.words import Words
from service.model.answer import CauseAnswer, LookAt, Retest, Warning
from service.model.graph import Graph
from service.model.quantities import MICRO
from service.model.screen import Screen
from service.model.series import SeriesAnswer, SeriesRequest

WHERE = "/screen"
"""Where the screen stands in the request."""


def series(request: SeriesRequest, graph: Graph) -> SeriesAnswer:
    """Return the weeks ahead. Pure: the same request and pack give the same bytes."""
    screen = request.screen
    if request.minutes is not None:
        screen = msgspec.structs.replace(screen, minutes=request.minutes)
    graph = graph_in(graph, screen.options.language)
    words = Words(graph, screen.options.language)
    decided = decide(screen, graph)
    facts = _facts(decided, graph)
    causes = causes_of(facts, words) if facts else ()
    again = retests(facts, screen, words) if facts else ()
    made = _made(request, screen, decided, graph, again)
    return SeriesAnswer(
        verdict=decided.verdict,
        summary=summary_of(made, decided, causes, words),
        ref=screen.client.ref,
        target=decided.reading.target,  # type: ignore[arg-type]
        value=sum(day.choice.value for week in made.course for day in week.days) / MICRO,
        weeks=weeks_of(made, words),
        drills=drills_of(made, facts, words) if facts else (),
        criteria=criteria_of(made),
        retests=retest_days(made, words),
        look_at=_look_at(facts, screen, causes, words),
        notes=notes_of(made, decided, words),
        referrals=referrals_of(decided.safety, graph),
        cautions=cautions_of(decided.safety, graph),
        warnings=_warnings(decided, graph, words),
        made_by=made_by(graph),
        decision=decision_of(screen, graph),
    )


def _facts(decided: Decided, graph: Graph) -> Facts | None:
    weighed = decided.weighed
    if weighed is None:
        return None
    return Facts(
        graph=graph,
        reading=decided.reading,
        posterior=weighed.posterior,
        weighing=weighed.weighing,
    )


def _made(
    request: SeriesRequest,
    screen: Screen,
    decided: Decided,
    graph: Graph,
    again: tuple[Retest, ...],
) -> Series:
    course = course_of(decided, graph, request.weeks, request.sessions_a_week)
    return Series(
        graph=graph,
        screen=screen,
        asked_weeks=request.weeks,
        sessions=request.sessions_a_week,
        course=course,
        retests=tuple(one for one in again if one.weeks > 0) if course else (),
    )


def _look_at(
    facts: Facts | None, screen: Screen, causes: tuple[CauseAnswer, ...], words: Words
) -> tuple[LookAt, ...]:
    if facts is None or facts.weighing.verdict != "unsure":
        return ()
    return look_at(facts, screen, causes, words)


def _warnings(decided: Decided, graph: Graph, words: Words) -> tuple[Warning, ...]:
    """Return the warnings of the screen, with pointers into the request."""
    posterior = decided.weighed.posterior if decided.weighed else None
    found = [*warnings_of(decided.reading, posterior, graph, words)]
    found += dispute_warnings(decided, graph, words) if decided.weighed else ()
    return tuple(msgspec.structs.replace(one, pointer=WHERE + one.pointer) for one in found)
