"""An answer as a card to print: one page, what holds the plan back first, then today's drills.

Apart from the plain text because a card is carried onto the floor: it says what to do and leaves
the evidence to the answer. It is whole by itself, so that it can be saved, mailed or framed.
"""

from collections.abc import Iterable, Iterator
from typing import Literal

from markupsafe import Markup
from msgspec import Struct

from service.engine.languages import ENGLISH, graph_in, language_of
from service.engine.words import Words
from service.figures import picture
from service.model.answer import Answer, Retest, Step
from service.model.graph import Graph
from service.web.pages.html import inline_policy, render, style_of

Paper = Literal["any", "a4", "letter"]
Size = Literal["normal", "large"]
REASONS_SHOWN = 2
SHORT = 12
"""Letters of the decision that a person may have to read out."""


class CardForm(Struct, frozen=True, kw_only=True):
    """How a card is set. `any` leaves the paper to whoever prints."""

    paper: Paper = "any"
    type: Size = "normal"


class Card(Struct, frozen=True, kw_only=True):
    """A page and the policy that lets it show itself and nothing else."""

    html: str
    policy: str


class CardSets(Struct, frozen=True, kw_only=True):
    """The sets of one side, to be ticked off."""

    said: str
    count: int


class CardStep(Struct, frozen=True, kw_only=True):
    """One drill as it is read on the floor. `language` is that of the drill's own words."""

    name: str
    language: str
    picture: Markup
    sets: tuple[CardSets, ...]
    dose: str
    kit: str
    cues: tuple[str, ...]
    good: str
    stop: str


def card(answer: Answer, graph: Graph, language: str | None, form: CardForm) -> Card:
    """The card of an answer in the language that the answer was given in."""
    spoken = graph_in(graph, language_of(language, graph))
    words = Words(spoken, language)
    style = Markup(f"{style_of('card.css')}{_page_size(form.paper)}")
    policy = inline_policy(style)
    target = spoken.movements[answer.target].name if answer.target else None
    html = render(
        "card.html",
        answer=answer,
        form=form,
        language=words.language,
        policy=policy,
        style=style,
        say=words.say,
        title=words.say("card_plan_towards", target=words.name(target))
        if target
        else words.say("card_plan"),
        not_asked=_not_asked(answer, words),
        cautions=_cautions(answer),
        steps=[_step(step, spoken, words) for step in _steps(answer)],
        why=tuple(_why(answer)),
        retests=tuple(_retests(answer.retest, spoken, words)),
        short=answer.decision[:SHORT],
    )
    return Card(html=html, policy=policy)


def card_steps(answer: Answer, graph: Graph, language: str | None) -> tuple[CardStep, ...]:
    """Today's drills as they are read on the floor, in the language of the answer."""
    spoken = graph_in(graph, language_of(language, graph))
    words = Words(spoken, language)
    return tuple(_step(step, spoken, words) for step in _steps(answer))


def card_retests(answer: Answer, graph: Graph, language: str | None) -> tuple[str, ...]:
    """What to look at and to measure again, one sentence for each day on which it is done."""
    spoken = graph_in(graph, language_of(language, graph))
    return tuple(_retests(answer.retest, spoken, Words(spoken, language)))


def _page_size(paper: Paper) -> str:
    return "" if paper == "any" else f"@page{{size:{paper.capitalize()} portrait}}"


def _steps(answer: Answer) -> tuple[Step, ...]:
    return answer.session.steps if answer.session else ()


def _not_asked(answer: Answer, words: Words) -> str:
    """What was not asked of the client, in words; empty where all was."""
    fields = [one.pointer.rpartition("/")[2] for one in answer.warnings if one.code == "not_asked"]
    named = [words.say(f"card_not_asked_{field}") for field in fields]
    return words.say("card_not_asked", what=", ".join(named)) if named else ""


def _cautions(answer: Answer) -> tuple[str, ...]:
    """What to keep to, without what a referral says in the same words."""
    said = {one.text for one in answer.referrals}
    return tuple(one.text for one in answer.cautions if one.text not in said)


# --- today --------------------------------------------------------------------------------


def _step(step: Step, graph: Graph, words: Words) -> CardStep:
    first = step.sides[0].side if step.sides else "none"
    # the drill's own words are English unless the pack has them in the language of the card
    told = f"drills.{step.drill}.name" in graph.texts[words.language]
    drawn = picture(graph, step.drill, first) if step.drill in graph.drills else None
    return CardStep(
        name=step.name,
        language=words.language if told else ENGLISH,
        picture=Markup(drawn or ""),  # drawn by us from numbers of the pack
        sets=tuple(
            CardSets(
                said=_counted(words, "card_sets", one.sets, side=words.side(one.side)),
                count=one.sets,
            )
            for one in step.sides
        ),
        dose=", ".join(_dose(step, words)),
        kit=", ".join(graph.kit[kit].name if kit in graph.kit else kit for kit in step.kit),
        cues=step.cues,
        good=step.good_looks_like,
        stop=step.stop_when,
    )


def _dose(step: Step, words: Words) -> Iterator[str]:
    if step.reps is not None:
        yield _counted(words, "card_repetitions", step.reps)
    if step.hold_s is not None:
        yield words.say("card_hold", hold=step.hold_s)
    if step.tempo is not None:
        tempo = step.tempo
        code = "card_tempo" if tempo.pause_s else "card_tempo_no_pause"
        yield words.say(code, lower=tempo.lower_s, pause=tempo.pause_s, lift=tempo.lift_s)
    if step.effort:
        yield words.say("card_reserve", effort=step.effort)
    if step.rest_s:
        yield words.say("card_rest", rest=step.rest_s)
    yield _counted(words, "card_days", step.times_a_week)


_COUNTS = {"card_days": "days", "card_repetitions": "reps", "card_sets": "sets"}


def _counted(words: Words, code: str, number: int, **more: str) -> str:
    if number == 1:
        return words.say(f"{code}_one", **more)
    return words.say(code, **{_COUNTS[code]: number}, **more)


# --- why, and what next -------------------------------------------------------------------


def _why(answer: Answer) -> Iterator[str]:
    """What the leading cause rests on; the summary has named it already."""
    if answer.session is not None and answer.causes:
        reasons = [one for one in answer.causes[0].because if one.moved is not None]
        strongest = sorted(reasons, key=lambda one: -abs(one.moved or 0.0))[:REASONS_SHOWN]
        yield from (reason.text for reason in strongest)


def _retests(retests: Iterable[Retest], graph: Graph, words: Words) -> Iterator[str]:
    """What to look at again and to measure again, one sentence for each day on which it is done."""
    days: dict[tuple[bool, int], str] = {}
    for one in sorted(retests, key=lambda one: (one.finding is None, one.weeks)):
        day = (one.finding is not None, one.weeks)
        said = _seen(one, graph, words) if one.finding else _measured(one, graph, words)
        days[day] = f"{days[day]}; {said}" if day in days else said
    for (is_look, weeks), what in days.items():
        if not is_look:
            yield words.say("card_measure_weeks", weeks=words.weeks(weeks), what=what)
        elif weeks and days.get((True, 0)) == what:
            yield words.say("card_retest_again", weeks=words.weeks(weeks))
        else:
            yield words.say(
                "card_retest_weeks" if weeks else "card_retest_today",
                weeks=words.weeks(weeks),
                what=what,
            )


def _seen(retest: Retest, graph: Graph, words: Words) -> str:
    movement = graph.movements[retest.movement].name if retest.movement else ""
    finding = graph.findings[retest.finding].name if retest.finding else ""
    return words.say(
        "card_seen_from",
        movement=words.name(movement),
        view=words.say(f"view_{retest.view}"),
        finding=words.name(finding),
        side=words.side(retest.side),
    )


def _measured(retest: Retest, graph: Graph, words: Words) -> str:
    measure = words.name(graph.measures[retest.measure].name) if retest.measure else ""
    side = words.side(retest.side)
    if retest.mdc95 is None or retest.unit is None:
        return f"{measure}{side}"
    noise = f"{words.number(retest.mdc95)} {words.unit(retest.unit)}"
    return words.say("card_measured", measure=measure, side=side, noise=noise)
