"""What stands around the weeks: the summary, what must be true to move on, when to look again,
and what is not certain.

Apart from the weeks themselves because none of it is about one week.
"""

from collections.abc import Iterator
from itertools import pairwise

import msgspec

from service.engine.decide import Decided
from service.engine.series.doses import GROWING
from service.engine.series.pace import WEEK, rule_of
from service.engine.series.tell import Series, capital
from service.engine.words import Words
from service.model.answer import CauseAnswer, Retest
from service.model.knowledge import RuleRecord
from service.model.series import Criterion, RetestDay, SeriesNote

REVIEWED = ("drill_pain",)
"""Kinds of the rules of a review that hold after every session: when to step back."""


def summary_of(
    made: Series, decided: Decided, causes: tuple[CauseAnswer, ...], words: Words
) -> str:
    """Return the sentence that an answer begins with."""
    target = decided.reading.target
    name = words.name(made.graph.movements[target].name) if target else ""
    verdict = decided.verdict
    if verdict == "refer":
        return words.say("summary_refer")
    if verdict == "nothing_found":
        return words.say("summary_nothing_found", target=name)
    if not made.course:
        if verdict == "unsure":
            return words.say("summary_unsure_empty")
        return words.say("summary_no_session", minutes=made.screen.minutes)
    lead = causes[0]
    text = words.say(
        f"series_summary_{verdict}",
        target=name,
        lead=words.say("lead", cause=words.name(lead.name), side=words.side(lead.side)),
        weeks=_count(words, "series_weeks", len(made.course)),
        sessions=_count(words, "series_sessions", made.sessions),
        minutes=made.screen.minutes,
    )
    return capital(text)


def _count(words: Words, code: str, count: int) -> str:
    return words.say(f"{code}_one" if count == 1 else f"{code}_many", count=count)


def criteria_of(made: Series) -> tuple[Criterion, ...]:
    """Return the rules by which to step back, then those of the weeks by kind."""
    if not made.course:
        return ()
    rules = [rule_of(made.graph, kind) for kind in (*REVIEWED, *_held(made))]
    return tuple(Criterion(rule=one.id, text=one.say, sources=one.sources) for one in rules)


def _held(made: Series) -> Iterator[str]:
    """Yield the kinds of the rules that these weeks keep, by name."""
    picked = [one for week in made.course for day in week.days for one, _ in day.picked()]
    days = [day.day for week in made.course for day in week.days]
    if any(one.aim in GROWING for one in picked):
        yield "dose_progression"
    yield "frequency"
    if any(week.lighter for week in made.course):
        yield "lighter_week"
    if any(later - day == 1 for day, later in pairwise(days)):
        yield "rest_days"
    if any(one.ladder >= 0 or one.helper for one in picked):
        yield "rung_progression"
    yield "variation"


def retest_days(made: Series, words: Words) -> tuple[RetestDay, ...]:
    """Return what to look at again by day, up to the day after the series."""
    days: dict[int, list[Retest]] = {}
    for one in made.retests:
        if one.weeks <= len(made.course):
            text = _again(made, one, words)
            again = msgspec.structs.replace(one, text=text)
            days.setdefault(WEEK * one.weeks + 1, []).append(again)
    return tuple(RetestDay(day=day, retest=tuple(found)) for day, found in sorted(days.items()))


def _again(made: Series, one: Retest, words: Words) -> str:
    """Return what to do on the day itself."""
    graph, side = made.graph, words.side(one.side)
    if one.measure is not None:
        name = words.name(graph.measures[one.measure].name)
        if one.mdc95 is None or one.unit is None:
            return words.say("series_measure_unknown", measure=name, side=side)
        return words.say(
            "series_measure",
            measure=name,
            side=side,
            mdc=words.number(one.mdc95),
            unit=words.unit(one.unit),
        )
    return words.say(
        "series_look",
        movement=words.name(graph.movements[one.movement or ""].name),
        view=words.say(f"view_{one.view}"),
        finding=words.name(graph.findings[one.finding or ""].name),
        side=side,
    )


def notes_of(made: Series, decided: Decided, words: Words) -> tuple[SeriesNote, ...]:
    """Return what to know of the whole series, most pressing first."""
    if not made.course:
        return ()
    return tuple(_notes(made, decided, words))


def _notes(made: Series, decided: Decided, words: Words) -> Iterator[SeriesNote]:
    planned, first = len(made.course), made.first_retest
    if decided.verdict == "unsure":
        yield _note(words.say("series_look_first"), "look_first")
    if planned < made.asked_weeks:
        rule = rule_of(made.graph, "series_length")
        text = words.say("series_shorter", asked=made.asked_weeks, weeks=planned)
        yield _note(text, "shorter", rule)
    free = sorted({made.sessions - len(week.days) for week in made.course} - {0})
    if free:
        rule = rule_of(made.graph, "frequency")
        yield _note(words.say("series_days_free", days=free[-1]), "days_free", rule)
    if first is not None and first > planned:
        yield _note(
            words.say("series_retest_after", weeks=_count(words, "series_weeks", first)),
            "retest_after",
        )
    yield _note(words.say("series_conditional"), "conditional")
    yield _note(words.say("series_ask_again"), "ask_again")


def _note(text: str, code: str, rule: RuleRecord | None = None) -> SeriesNote:
    return SeriesNote(
        code=code,
        text=text,
        rule=rule.id if rule else None,
        sources=rule.sources if rule else (),
    )
