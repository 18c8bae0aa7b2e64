"""What a clip of landmarks shows, as plain text for a person: 80 columns, warnings first."""

import textwrap
from collections.abc import Iterable

from service.model.landmarks import LandmarkAnswer
from service.model.quantities import Side

WIDTH = 80


def render_clip(answer: LandmarkAnswer) -> str:
    """The whole answer as text; lists keep the answer's own order."""
    parts = [
        f"{_words(answer.movement)}, from the {answer.view}: "
        f"{len(answer.repetitions)} whole repetitions.",
        *_section("Mind", (one.text for one in answer.warnings)),
        *_section(
            "Seen",
            (f"{_words(one.finding)}{_side(one.side)}: {one.grade}" for one in answer.observations),
        ),
        *_section(
            "Not settled",
            (
                f"{_words(one.finding)}{_side(one.side)}: {one.value:.1f} {one.unit}, give or "
                f"take {one.spread:.1f}; absent {one.absent:.0%}, mild {one.mild:.0%}, marked "
                f"{one.marked:.0%}"
                for one in answer.uncertain
            ),
        ),
        *_section(
            "Measured, give or take one standard error",
            (
                f"{_words(one.measure)}{_side(one.side)}: {one.value:.1f} {one.unit}, "
                f"{one.spread:.1f}"
                for one in answer.summaries
            ),
        ),
        *_section(
            "Not to be seen here",
            (f"{_words(one.what)}: {one.instead}" for one in answer.not_observable),
        ),
    ]
    return "\n\n".join(parts) + "\n"


def _section(title: str, lines: Iterable[str]) -> Iterable[str]:
    items = [
        textwrap.fill(line, WIDTH, initial_indent="- ", subsequent_indent="  ") for line in lines
    ]
    if items:
        yield "\n".join([title, *items])


def _words(name: str) -> str:
    words = name.replace("_", " ")
    return words[:1].upper() + words[1:]


def _side(side: Side) -> str:
    return "" if side == "none" else f", {side}"
