"""A review as plain text: what changed, what to do with each drill, then the next session."""

import textwrap
from collections.abc import Iterable, Iterator

from service.model.quantities import Side, Urgency
from service.model.review import CauseReview, DrillReview, MeasureReview, ReviewAnswer
from service.web.pages.plain import percent, render

WIDTH = 80
CAUSES_SHOWN = 6
_URGENCY: dict[Urgency, str] = {
    "before_training": "before more of the same",
    "emergency": "now, as an emergency",
    "same_day": "today",
    "soon": "soon",
}
_SIDE: dict[Side, str] = {"both": ", both sides", "left": ", left", "none": "", "right": ", right"}
_DECISION = {
    "easier": "make it easier",
    "harder": "make it harder",
    "keep": "keep it",
    "swap": "swap it",
}


def render_review(answer: ReviewAnswer) -> str:
    """The whole review as text; the next session stands below it as a plan of its own."""
    time = f" after {answer.days_between} days" if answer.days_between is not None else ""
    parts = [
        *_section("See a licensed professional", (
            _item(f"{one.text} When: {_URGENCY[one.urgency]}.") for one in answer.referrals
        )),
        _wrap(f"Review{time}.") + "\n" + _wrap(answer.summary),
        *_section("Know this", (_item(one.text) for one in answer.notes)),
        *_section("What was seen", (_item(one.text) for one in answer.findings)),
        *_section("What was measured", (_measure(one) for one in answer.measures)),
        *_section("What was done", _apart(_drill(one) for one in answer.drills)),
        *_section("What is likely, then and now", _causes(answer.causes)),
        *_section(
            "Not compared, or not asked",
            (_item(f"{one.text} ({one.pointer})") for one in answer.warnings),
        ),
        _title("Next session"),
        render(answer.next).rstrip("\n"),
    ]  # fmt: skip
    return "\n\n".join(parts) + "\n"


def _measure(one: MeasureReview) -> str:
    said = one.text
    if one.derived:
        said += " That figure is worked out from other published ones."
    if one.trend is not None:
        noise = one.trend.noise_per_week
        about = "noise not published" if noise is None else f"noise alone up to {noise:.2g}"
        said += f" Over {len(one.points)} measurements: {one.trend.per_week:+.2g} a week, {about}."
    return _item(said)


def _drill(one: DrillReview) -> str:
    head = f"{one.name}: {_DECISION[one.decision]}"
    lines = [_wrap(f"- {head}{f'; go on with {one.next.name}' if one.next else ''}.", "  ")]
    lines += [_wrap(f"  {reason.text}", "  ") for reason in one.because]
    return "\n".join(lines)


def _causes(causes: tuple[CauseReview, ...]) -> Iterator[str]:
    for one in causes[:CAUSES_SHOWN]:
        yield _item(
            f"{one.name}{_SIDE[one.side]}: {percent(one.before)} then, {percent(one.after)} now"
        )
    more = len(causes) - CAUSES_SHOWN
    if more > 0:
        yield _item(f"{more} more with less belief; the raw answer has all.")


def _apart(blocks: Iterable[str]) -> Iterator[str]:
    text = "\n\n".join(blocks)
    if text:
        yield text


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    """One block with its title; nothing where there are no lines."""
    body = list(lines)
    if body:
        yield "\n".join([_title(title), *body])


def _title(title: str) -> str:
    return f"{title}\n{'-' * len(title)}"


def _item(text: str) -> str:
    return _wrap(f"- {text}", "  ")


def _wrap(text: str, hanging: str = "") -> str:
    return textwrap.fill(text, WIDTH, initial_indent="", subsequent_indent=hanging)
