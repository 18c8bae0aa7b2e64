"""Which page follows a form: the walk through all steps, and where it stops.

Every answer is walked through again with every form, so that one which no page could have given
is dropped, and the visit goes on at the first step that lacks one.
"""

from collections.abc import Mapping

import msgspec
from msgspec import Struct

from service.engine.validate import validate
from service.model.answer import Referral
from service.model.quantities import Urgency
from service.web.kiosk.ask import SAFETY, STEPS, URGENCIES, Asker
from service.web.kiosk.form import Answers, Draft, Entered, Group
from service.web.kiosk.told import screen_of


class Asked(Struct, frozen=True, kw_only=True):
    """A step of the visit with its groups as they stand."""

    id: str
    groups: tuple[Group, ...]


class Turn(Struct, frozen=True, kw_only=True):
    """What the next page shows: a step to ask, referrals that end the visit, or the plan."""

    draft: Draft
    at: str
    """The step that is asked, or, with referrals or the plan, the one that came before."""
    asked: Asked | None = None
    """None where nothing is asked."""
    faulty: bool = False
    """Whether to say what is wrong with the answers."""
    referrals: tuple[Referral, ...] = ()
    number: int = 1
    """Of the step within the visit as it stands."""


def walk(ask: Asker, answers: Answers) -> tuple[tuple[Asked, ...], Answers]:
    """The steps of a visit with what stands in them, and the answers that count."""
    steps: list[Asked] = []
    counted: dict[str, tuple[str, ...]] = {}
    for step in STEPS:
        groups = tuple(_filled(group, answers) for group in step.groups(ask, counted))
        if groups:
            steps.append(Asked(id=step.id, groups=groups))
            counted |= {group.name: group.chosen for group in groups}
    return tuple(steps), counted


def _filled(group: Group, answers: Answers) -> Group:
    preset = (group.preset,) if group.preset else ()
    return msgspec.structs.replace(group, given=answers.get(group.name, preset))


def begin(ask: Asker) -> Turn:
    """The first page."""
    steps, _ = walk(ask, {})
    return Turn(draft=Draft(language=ask.language), at=steps[0].id, asked=steps[0])


def turn(ask: Asker, form: Entered) -> Turn:
    """The page that follows a form."""
    answers = _with_fields(ask, form)
    steps, counted = walk(ask, answers)
    ids = [step.id for step in steps]
    here = ids.index(form.at) if form.at in ids else 0
    draft = Draft(language=ask.language, answers=_kept(steps))
    if form.go == "back":
        return _asking(draft, steps, max(here - 1, 0))
    if form.go != "next":
        return _asking(draft, steps, here)
    for number, step in enumerate(steps[: here + 1]):
        if any(group.fault for group in step.groups):
            return _asking(draft, steps, number, faulty=number == here)
    stopping = _stopping(ask, counted, ids, here)
    if stopping:
        return Turn(draft=draft, at=ids[here], referrals=stopping, number=here + 1)
    if here + 1 < len(steps):
        return _asking(draft, steps, here + 1)
    return Turn(draft=draft, at=ids[here], number=here + 1)


def _with_fields(ask: Asker, form: Entered) -> Answers:
    """The answers so far with those of the form; a box that is not in a form is unticked."""
    answers = form.draft.answers
    if not form.asked:
        return answers
    steps, _ = walk(ask, answers)
    names = [group.name for step in steps if step.id == form.at for group in step.groups]
    return {**answers, **{name: form.fields.get(name, ())[:64] for name in names}}


def _kept(steps: tuple[Asked, ...]) -> dict[str, tuple[str, ...]]:
    """What the pages carry on: what is offered, and numbers as they were written."""
    return {
        group.name: group.given[:1] if group.kind == "number" else group.chosen
        for step in steps
        for group in step.groups
        if group.given
    }


def _asking(draft: Draft, steps: tuple[Asked, ...], number: int, *, faulty: bool = False) -> Turn:
    step = steps[number]
    return Turn(draft=draft, at=step.id, asked=step, faulty=faulty, number=number + 1)


def _stopping(ask: Asker, counted: Answers, ids: list[str], here: int) -> tuple[Referral, ...]:
    """The referrals that end the visit at a step of safety, most urgent first.

    An emergency ends it at once, but not before the rest about what was just ticked is asked: an
    operation may be years ago. What is less urgent waits for the last question of safety: some
    signs are an emergency only together.
    """
    if ids[here] not in SAFETY or f"{ids[here]}_more" in ids[here + 1 : here + 2]:
        return ()
    # what stands in later steps must not count before it is asked again
    before = {step for step in SAFETY if step in ids and ids.index(step) <= here}
    names = {name: given for name, given in counted.items() if _step_of(name) in before}
    found = validate(screen_of(ask, names), ask.pack)
    urgent = [one for one in found.referrals if one.urgency == "emergency"]
    if not found.stops or not (urgent or ids[here] == SAFETY[-1]):
        return ()
    return tuple(sorted(found.referrals, key=lambda one: (_rank(one.urgency), one.id)))


def _rank(urgency: Urgency) -> int:
    return URGENCIES.index(urgency)


_MORE: Mapping[str, str] = {"pain": "pain_more", "condition": "conditions_more"}


def _step_of(name: str) -> str:
    """The step of safety that a group stands in."""
    stem, dot, _ = name.partition(".")
    return _MORE.get(stem, "") if dot else stem
