"""The weeks ahead as plain text: each session once, after that only what is different."""

import textwrap
from collections.abc import Iterable, Iterator

from service.model.quantities import Side
from service.model.series import (
    SeriesAnswer,
    SeriesDrill,
    SeriesSession,
    SeriesStep,
    SeriesWeek,
)
from service.web.pages.plain import CLOSING

WIDTH = 80
_SIDE: dict[Side, str] = {"both": "", "left": "left", "none": "", "right": "right"}
Drills = tuple[str, ...]


class _Told:
    """The sessions that were written, by their drills: in full, and in any way."""

    def __init__(self) -> None:
        self.full: dict[Drills, SeriesSession] = {}
        self.any: dict[Drills, SeriesSession] = {}


def render_series(answer: SeriesAnswer) -> str:
    """The whole answer as text, week by week; how each drill is done stands once, after them."""
    names = {one.drill: one.name for one in answer.drills}
    target = f", towards: {_words(answer.target)}" if answer.target else ""
    parts = [
        *_section("See a licensed professional", (_item(one.text) for one in answer.referrals)),
        *_section("Keep to this throughout", (_item(one.text) for one in answer.cautions)),
        _wrap(f"Verdict: {_words(answer.verdict)}{target}.") + "\n" + _wrap(answer.summary),
        *_section("Look at this first", (_item(one.text) for one in answer.look_at)),
        *_section("Know this", (_item(one.text) for one in answer.notes)),
        *_weeks(answer, names),
        *_section("How each drill is done", _apart(_drill(one) for one in answer.drills)),
        *_section("How the weeks go", (_item(one.text) for one in answer.criteria)),
        *_section(
            "Not used, or not asked",
            (_item(f"{one.text} ({one.pointer})") for one in answer.warnings),
        ),
        _wrap(CLOSING),
        _wrap(f"Pack {answer.made_by.pack}, service {answer.made_by.service}."),
    ]
    return "\n\n".join(parts) + "\n"


def _apart(blocks: Iterable[str]) -> Iterator[str]:
    text = "\n\n".join(blocks)
    if text:
        yield text


def _weeks(answer: SeriesAnswer, names: dict[str, str]) -> Iterator[str]:
    told = _Told()
    for week in answer.weeks:
        again = [one for one in answer.retests if week.from_day <= one.day <= week.to_day]
        looks = [_wrap(f"Day {day.day}, before the session, look again:") for day in again[:1]]
        looks += [_item(one.text) for day in again for one in day.retest]
        lines = [*looks, *_week(week, told, names)]
        yield from _section(_title(week), lines)
    for day in answer.retests:
        if answer.weeks and day.day > answer.weeks[-1].to_day:
            lines = [_item(one.text) for one in day.retest]
            yield from _section(f"After the last week, day {day.day}: look again", lines)


def _title(week: SeriesWeek) -> str:
    kinds = [word for word, on in (("lighter", week.lighter), ("provisional", week.provisional))
             if on]  # fmt: skip
    return f"Week {week.week}" + (f" ({', '.join(kinds)})" if kinds else "")


def _week(week: SeriesWeek, told: _Told, names: dict[str, str]) -> Iterator[str]:
    if week.why is not None:
        yield _wrap(week.why)
    for change in week.changes:
        yield _item(change.text)
    if any(change.code == "same" for change in week.changes):
        days = ", ".join(str(session.day) for session in week.sessions)
        yield _wrap(f"Days {days}." if len(week.sessions) > 1 else f"Day {days}.")
        return
    for session in week.sessions:
        yield from _session(session, told, names)


def _session(session: SeriesSession, told: _Told, names: dict[str, str]) -> Iterator[str]:
    """Yield a session in full the first time, afterwards what differs from one like it."""
    like = _like(session, told)
    told.any.setdefault(_drills(session), session)
    if like is None:
        told.full[_drills(session)] = session
        yield _wrap(f"Day {session.day}, {session.minutes:g} minutes:")
        for number, step in enumerate(session.steps, 1):
            yield _wrap(f"   {number}. {names[step.drill]}: {_dose(step)}", hanging="      ")
        return
    other = []
    for now, then in zip(session.steps, like.steps, strict=True):
        if now.drill != then.drill:
            other.append(f"{names[now.drill]}: {_dose(now)}, in place of {names[then.drill]}")
        elif now != then:
            other.append(f"{names[now.drill]}: {_sets(now)}")
    differs = f", but {'; '.join(other)}" if other else ""
    yield _wrap(f"Day {session.day}: as day {like.day}{differs}.", hanging="   ")


def _drills(session: SeriesSession) -> Drills:
    return tuple(step.drill for step in session.steps)


def _like(session: SeriesSession, told: _Told) -> SeriesSession | None:
    """The first session told that has the same drills in their places, or all but one."""
    drills = _drills(session)
    if drills in told.any:
        return told.any[drills]
    alike = [
        one
        for known, one in told.full.items()
        if len(known) == len(drills) and sum(map(str.__ne__, known, drills)) == 1
    ]
    return alike[0] if alike and len(drills) > 2 else None


def _sets(step: SeriesStep) -> str:
    held = f" of {step.hold_s} s" if step.hold_s else ""
    each = [f"{_SIDE[one.side]} {one.sets}".strip() for one in step.sides]
    return f"{', '.join(each)} x {step.reps}{held}"


def _dose(step: SeriesStep) -> str:
    parts = [_sets(step)]
    if step.rest_s:
        parts.append(f"rest {step.rest_s} s")
    if step.effort:
        parts.append(f"{step.effort} in reserve")
    return ", ".join(parts)


def _drill(drill: SeriesDrill) -> str:
    tempo = drill.tempo
    lines = [
        _wrap(f"{drill.name} ({_runs(drill.weeks)})"),
        _field("Kit", ", ".join(map(_words, drill.kit))),
        _field("Tempo", f"{tempo.lower_s} s down, {tempo.pause_s} s pause, {tempo.lift_s} s up")
        if tempo
        else "",
        *(_field("Say", cue) for cue in drill.cues),
        _field("Good", drill.good_looks_like),
        _field("Stop when", drill.stop_when),
        _field("Harder when", drill.move_up_when or ""),
        _field("Easier when", drill.move_down_when or ""),
    ]
    return "\n".join(line for line in lines if line)


def _runs(weeks: tuple[int, ...]) -> str:
    """Weeks as runs, such as `weeks 1 to 3, 5`."""
    runs: list[list[int]] = []
    for week in weeks:
        if runs and week == runs[-1][-1] + 1:
            runs[-1].append(week)
        else:
            runs.append([week])
    said = [f"{run[0]} to {run[-1]}" if len(run) > 1 else str(run[0]) for run in runs]
    return ("week " if len(weeks) == 1 else "weeks ") + ", ".join(said)


def _words(id: str) -> str:
    return id.replace("_", " ")


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    """One block with its title; nothing where there are no lines."""
    body = list(lines)
    if body:
        yield "\n".join([title, "-" * len(title), *body])


def _field(name: str, text: str) -> str:
    return _wrap(f"   {name}: {text}", hanging="      ") if text else ""


def _item(text: str) -> str:
    return _wrap(f"- {text}", hanging="  ")


def _wrap(text: str, hanging: str = "") -> str:
    return textwrap.fill(text, WIDTH, subsequent_indent=hanging)
