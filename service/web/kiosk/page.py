"""A turn of the visit as HTML: a question, a referral in plain words, or the plan."""

import msgspec
from msgspec import Struct

from service.model.answer import Answer, CauseAnswer
from service.web.kiosk.ask import Asker, capital
from service.web.kiosk.visit import Turn
from service.web.pages.card import CardStep, card_retests, card_steps
from service.web.pages.html import render

LANGUAGES = {"de": "Deutsch", "en": "English"}
"""What a language calls itself; one that is missing here goes by its code."""
CAUSES_SHOWN = 3
REASONS_SHOWN = 2
CHECKS_SHOWN = 2
SHORT = 12


class Reason(Struct, frozen=True, kw_only=True):
    """One likely cause and what speaks for and against it."""

    said: str
    because: tuple[str, ...]


def page(
    ask: Asker,
    turn: Turn,
    answer: Answer | None,
    path: str,
    *,
    is_fresh: bool,
    is_lost: bool = False,
) -> str:
    """The page. A fresh one holds nothing of a client yet, and need not be reset.

    `is_lost` says that what was entered could not be read.
    """
    return render(
        "kiosk.html",
        ask=ask,
        turn=turn,
        answer=answer,
        path=path,
        is_fresh=is_fresh,
        is_lost=is_lost,
        draft=msgspec.json.encode(turn.draft).decode(),
        languages=[
            (code, LANGUAGES.get(code, code))
            for code in sorted(ask.pack.texts)
            if code != ask.language
        ],
        plan=None if answer is None else _plan(ask, answer),
    )


class Plan(Struct, frozen=True, kw_only=True):
    """What the last page says, in its order."""

    title: str
    cautions: tuple[str, ...]
    steps: tuple[CardStep, ...]
    reasons: tuple[Reason, ...]
    checks: tuple[str, ...]
    turns: tuple[str, ...]
    retests: tuple[str, ...]
    short: str


def _plan(ask: Asker, answer: Answer) -> Plan:
    referred = {one.text for one in answer.referrals}
    first_looks = {one.text for one in answer.look_at}
    target = ask.graph.movements[answer.target].name if answer.target else ""
    titled = "plan_title" if answer.session else "plan_none"
    return Plan(
        title=ask.say(titled, target=ask.words.name(target)),
        cautions=tuple(one.text for one in answer.cautions if one.text not in referred),
        steps=card_steps(answer, ask.pack, ask.language),
        reasons=tuple(_reason(ask, one) for one in answer.causes[:CAUSES_SHOWN]),
        checks=tuple(
            one.text for one in answer.next_checks[:CHECKS_SHOWN] if one.text not in first_looks
        ),
        turns=tuple(one.text for one in answer.turning_points[:CHECKS_SHOWN]),
        retests=card_retests(answer, ask.pack, ask.language),
        short=answer.decision[:SHORT],
    )


def _reason(ask: Asker, cause: CauseAnswer) -> Reason:
    strongest = sorted(
        (one for one in cause.because if one.moved is not None),
        key=lambda one: -abs(one.moved or 0.0),
    )
    return Reason(
        said=ask.say(
            "cause",
            name=capital(cause.name),
            side=ask.words.side(cause.side),
            # held together on a narrow page
            sure=ask.words.per_cent(cause.belief).replace(" ", "\N{NO-BREAK SPACE}"),
        ),
        because=tuple(
            one.text if (one.moved or 0.0) > 0 else ask.say("against", text=one.text)
            for one in strongest[:REASONS_SHOWN]
        ),
    )
