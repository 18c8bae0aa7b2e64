"""An answer as plain text for a person: 80 columns, what holds the plan back before the plan."""

import textwrap
from collections.abc import Iterable

from service.model.answer import (
    Answer,
    Because,
    CauseAnswer,
    LeftOut,
    LookAt,
    NextCheck,
    Retest,
    Session,
    Step,
    TurningPoint,
)
from service.model.quantities import Side, Urgency

WIDTH = 80
CAUSES_SHOWN = 6
REASONS_SHOWN = 5
SERVED_SHOWN = 2
CLOSING = (
    "A decision aid for people who train people. It diagnoses nothing; licensed practice and "
    "local rules come first. Nothing in the pack is signed off by a clinician."
)
_URGENCY: dict[Urgency, str] = {
    "before_training": "before training",
    "emergency": "now, as an emergency",
    "same_day": "today",
    "soon": "soon",
}
_SIDE: dict[Side, str] = {"both": "both sides", "left": "left", "none": "", "right": "right"}
_BELIEF = ((0.9, "very likely"), (0.7, "likely"), (0.5, "more likely than not"), (0.2, "possible"))


def render(answer: Answer) -> str:
    """The whole answer as text; lists keep the answer's own order."""
    parts = [
        *_held_back(answer),
        *_verdict(answer),
        *_section("Look at this first", (_look(look) for look in answer.look_at)),
        *_today(answer.session),
        *_section("Carry it over", (_item(text) for text in answer.carry_over)),
        *_section("What is likely", _causes(answer.causes)),
        *_section("Worth checking next", (_look(look) for look in answer.next_checks)),
        *_section("What would change this plan", (_look(look) for look in answer.turning_points)),
        *_section("See whether it worked", (_retest(retest) for retest in answer.retest)),
        *_section("Left out", (_left_out(left) for left in answer.left_out)),
        *_section(
            "Not used, or not asked",
            (_item(f"{one.text} ({one.pointer or 'whole screen'})") for one in answer.warnings),
        ),
        _wrap(CLOSING),
        _wrap(f"Pack {answer.made_by.pack}, service {answer.made_by.service}."),
    ]
    return "\n\n".join(parts) + "\n"


def _held_back(answer: Answer) -> Iterable[str]:
    referrals = (_item(f"{one.text} When: {_URGENCY[one.urgency]}.") for one in answer.referrals)
    yield from _section("See a licensed professional", referrals)
    yield from _section("Keep to this today", (_item(one.text) for one in answer.cautions))


def _verdict(answer: Answer) -> Iterable[str]:
    target = f", towards: {_words(answer.target)}" if answer.target else ""
    yield _wrap(f"Verdict: {_words(answer.verdict)}{target}.") + "\n" + _wrap(answer.summary)


def _section(title: str, lines: Iterable[str]) -> Iterable[str]:
    """One block with its title; nothing where there are no lines."""
    body = list(lines)
    if body:
        yield "\n".join([title, "-" * len(title), *body])


# --- today --------------------------------------------------------------------------------


def _today(session: Session | None) -> Iterable[str]:
    if session is None or not session.steps:
        return
    title = f"Today, {session.minutes:g} minutes"
    steps = [_step(number, step) for number, step in enumerate(session.steps, start=1)]
    yield "\n".join([title, "-" * len(title), "\n\n".join(steps)])


def _step(number: int, step: Step) -> str:
    kit = ", ".join(map(_words, step.kit)) or "none needed"
    lines = [
        _wrap(f"{number}. {step.name}", hanging="   "),
        _field("Dose", dose(step)),
        _field("Sides", sides(step)),
        _field("Kit", kit),
        *(_field("Say", cue) for cue in step.cues),
        _field("Good", step.good_looks_like),
        _field("Stop when", step.stop_when),
        _field("Easier", step.easier.name) if step.easier else "",
        _field("Harder", step.harder.name) if step.harder else "",
        *(_field("Why", text) for text in _why(step)),
    ]
    return "\n".join(line for line in lines if line)


def _why(step: Step) -> Iterable[str]:
    """What a step is for and what gave it its place; the evidence stands with the causes."""
    serves = [reason.text for reason in step.because if reason.code == "serves"]
    yield from serves[:SERVED_SHOWN]
    yield from (r.text for r in step.because if r.moved is None and r.code != "serves")


def dose(step: Step) -> str:
    """Repetitions, hold, tempo, rest and days a week, in words."""
    parts: list[str] = []
    if step.reps is not None:
        parts.append(_count(step.reps, "repetition"))
    if step.hold_s is not None:
        each = " each" if step.reps is not None and step.reps > 1 else ""
        parts.append(f"held {_count(step.hold_s, 'second')}{each}")
    if step.tempo is not None:
        tempo = step.tempo
        parts.append(f"{tempo.lower_s} s down, {tempo.pause_s} s pause, {tempo.lift_s} s up")
    if step.effort:
        parts.append(f"stop with {step.effort} in reserve")
    if step.rest_s:
        parts.append(f"rest {step.rest_s} s between sets")
    parts.append(f"{_count(step.times_a_week, 'day')} a week")
    return ", ".join(parts)


def sides(step: Step) -> str:
    """Sets by side, in the order in which to do them."""
    return ", then ".join(
        f"{_SIDE[one.side]} {_count(one.sets, 'set')}".strip() for one in step.sides
    )


# --- why and what next --------------------------------------------------------------------


def _causes(causes: tuple[CauseAnswer, ...]) -> Iterable[str]:
    for number, cause in enumerate(causes[:CAUSES_SHOWN], start=1):
        yield _cause(number, cause)
    more = len(causes) - CAUSES_SHOWN
    if more > 0:
        yield _item(f"{_count(more, 'further cause')} with less weight; the raw answer has all.")


def _cause(number: int, cause: CauseAnswer) -> str:
    side = f" ({_SIDE[cause.side]})" if _SIDE[cause.side] else ""
    firmness = f", {cause.firmness}" if cause.firmness else ""
    head = (
        f"{number}. {cause.name}{side}: {belief(cause.belief)}, {percent(cause.belief)}{firmness}"
    )
    lines = [_wrap(head, hanging="   ")]
    lines += [_field(_speaks(reason), reason.text) for reason in cause.because[:REASONS_SHOWN]]
    more = len(cause.because) - REASONS_SHOWN
    if more > 0:
        lines.append(_field("And", f"{_count(more, 'reason')} that moved it less."))
    lines.append(_field("Misleads", cause.wrong_when))
    return "\n".join(line for line in lines if line)


def belief(probability: float) -> str:
    """A probability in words."""
    return next((words for least, words in _BELIEF if probability >= least), "unlikely")


def percent(probability: float) -> str:
    """A probability per cent; never rounded to certainty."""
    rounded = round(probability * 100)
    if rounded == 0:
        return "under 1 %"
    return "over 99 %" if rounded == 100 else f"{rounded} %"


def _speaks(reason: Because) -> str:
    if reason.moved is None:
        return "Why"
    return "For" if reason.moved > 0 else "Against"


def _look(look: LookAt | NextCheck | TurningPoint) -> str:
    return _item(look.text)


def _retest(retest: Retest) -> str:
    return _item(retest.text)


def _left_out(left: LeftOut) -> str:
    more = f" ({left.count - 1} more for this reason)" if left.count > 1 else ""
    return _item(f"{left.name}: {left.detail}{more}")


# --- words and lines ----------------------------------------------------------------------


def _words(id: str) -> str:
    return id.replace("_", " ")


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _field(name: str, text: str) -> str:
    return _wrap(f"   {name}: {text}", hanging="      ") if text else ""


def _item(text: str) -> str:
    return _wrap(f"- {text}", hanging="  ")


def _wrap(text: str, hanging: str = "") -> str:
    return textwrap.fill(text, WIDTH, subsequent_indent=hanging)
