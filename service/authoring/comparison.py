"""Which answers two packs give differently, and as far as can be told which records make it so.

A record is said to be the reason only after the trial: with that record alone put back as it
was, does the new pack answer as the old one did?
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

import msgspec
from msgspec import Struct

from service.compiler.compile import compile_draft
from service.compiler.difference import RecordChange, Scalar, put_back, record_changes
from service.compiler.draft import Draft
from service.compiler.freeze import freeze
from service.engine.plan import plan
from service.model.answer import Answer
from service.model.errors import PackError, PackFault
from service.model.graph import Graph, Pack
from service.model.screen import Screen

UNSEEN = frozenset(
    (
        "checked", "cue", "disagrees", "does", "errors", "good_looks_like", "how", "looks_like",
        "means", "name", "posture", "reasoning", "say", "sources", "stop_when", "touch_cue",
        "wrong_when",
    )
)  # fmt: skip
"""Fields that no decision reads: a record changed in these alone is not tried."""

FORGIVEN = frozenset(("cutoffs", "distinct", "muscles", "sorting", "sources", "wording"))
"""Checks that an older pack need not have met: no plan is made differently by what they find."""

What = Literal[
    "cautions", "first_step", "leading_cause", "referrals", "steps", "target", "value", "verdict"
]
"""The parts of an answer that are compared."""


class AnswerChange(Struct, frozen=True, kw_only=True):
    """One part of an answer that is not what it was."""

    what: What
    old: Scalar
    new: Scalar


class Due(Struct, frozen=True, kw_only=True):
    """A record that was put back alone, and what that did to the answer.

    `whole`: the answer is as it was before. `part`: it changes, but not to what it was.
    """

    kind: str
    record: str
    does: Literal["part", "whole"]


class ScreenChange(Struct, frozen=True, kw_only=True):
    """One screen that is answered differently.

    Where `due` is empty, no single record makes it so: several do together, or they could not
    be put back alone.
    """

    screen: str
    answer: tuple[AnswerChange, ...]
    due: tuple[Due, ...]


class Comparison(Struct, frozen=True, kw_only=True):
    """Two packs side by side. `untried` records were not put back alone, and `why` says so.

    `old_faults` are what today's checks find in the old pack and no answer depends on.
    """

    old: Pack
    new: Pack
    old_faults: tuple[PackFault, ...]
    records: tuple[RecordChange, ...]
    screens: int
    answers: tuple[ScreenChange, ...]
    untried: tuple[str, ...]
    why: str


def compare(
    old: Draft, new: Draft, screens: Mapping[str, Screen], *, most_tried: int = 60
) -> Comparison:
    """Return what differs between two packs; raise PackError if one of them has faults.

    Each record costs one compilation and one plan a changed screen, so that at most
    `most_tried` of them are tried, those that a changed answer names first.
    """
    before, old_faults = _as_it_was(old)
    after = compile_draft(new)
    records = record_changes(old, new)
    changed: dict[str, tuple[AnswerChange, ...]] = {}
    told = ""
    for name, screen in screens.items():
        was, now = plan(screen, before), plan(screen, after)
        found = tuple(_changes(was, now))
        if found:
            changed[name] = found
            told += msgspec.json.encode((was, now)).decode()
    seen = [one for one in records if _can_matter(one)] if changed else []
    seen.sort(key=lambda one: not _is_told(one, told))
    tried = seen[:most_tried]
    due: dict[str, list[Due]] = {name: [] for name in changed}
    stuck = []
    for change in tried:
        try:
            without, _ = _as_it_was(put_back(new, old, change))
        except PackError:
            stuck.append(change)
            continue
        for name in changed:
            does = _does(screens[name], before, after, without)
            if does is not None:
                due[name].append(Due(kind=change.kind, record=change.record, does=does))
    untried = [*stuck, *seen[most_tried:]]
    return Comparison(
        old=before.pack,
        new=after.pack,
        old_faults=old_faults,
        records=records,
        screens=len(screens),
        answers=tuple(
            ScreenChange(screen=name, answer=found, due=tuple(due[name]))
            for name, found in changed.items()
        ),
        untried=tuple(f"{one.kind}/{one.record}" for one in untried),
        why=_why(stuck, len(seen) - len(tried)),
    )


def _as_it_was(draft: Draft) -> tuple[Graph, tuple[PackFault, ...]]:
    """Return the graph of a pack that newer checks may find fault with, and those faults.

    Raise PackError where an answer could depend on one of them.
    """
    try:
        return compile_draft(draft), ()
    except PackError as error:
        if any(fault.check not in FORGIVEN for fault in error.faults):
            raise
        return freeze(draft), error.faults


def _why(stuck: Sequence[RecordChange], over: int) -> str:
    reasons = []
    if stuck:
        reasons.append("some cannot be put back alone, since others rest on them")
    if over:
        reasons.append(f"{over} more than are tried in one run")
    return "; ".join(reasons)


def _can_matter(change: RecordChange) -> bool:
    """Say if an answer can depend on any of the fields; what is said in it does not count."""
    if change.kind in ("cutoffs", "muscles", "sources", "texts"):
        return False
    return any(field.field.partition("[")[0] not in UNSEEN for field in change.fields)


def _is_told(change: RecordChange, told: str) -> bool:
    """Say if the answers name the record, or for a link both of its ends."""
    ends = change.record.split("-") if change.kind == "links" else (change.record,)
    return all(f'"{end}"' in told for end in ends)


def _does(
    screen: Screen, before: Graph, after: Graph, without: Graph
) -> Literal["part", "whole"] | None:
    was, now = plan(screen, before), plan(screen, after)
    then = plan(screen, without)
    if not list(_changes(was, then)):
        return "whole"
    return "part" if list(_changes(now, then)) else None


def _changes(old: Answer, new: Answer) -> Iterator[AnswerChange]:
    """Yield what a coach would notice first; figures behind the value's fourth place are noise."""
    before, after = _told(old), _told(new)
    for what, value in before.items():
        if value != after[what]:
            yield AnswerChange(what=what, old=value, new=after[what])


def _told(answer: Answer) -> dict[What, Scalar]:
    steps = answer.session.steps if answer.session else ()
    lead = answer.causes[0] if answer.causes else None
    return {
        "verdict": answer.verdict,
        "target": answer.target,
        "leading_cause": f"{lead.cause} ({lead.side})" if lead else None,
        "first_step": steps[0].drill if steps else None,
        "steps": ", ".join(step.drill for step in steps),
        "value": round(answer.session.value, 4) if answer.session else None,
        "referrals": ", ".join(f"{one.id} ({one.urgency})" for one in answer.referrals),
        "cautions": ", ".join(one.id for one in answer.cautions),
    }
