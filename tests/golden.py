"""What a golden case may say, and whether an answer holds to it. Apart from the tests that run
the cases, because the cases are written by people who read TOML and no Python: every field that
they may write stands here, once, with what it means.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import msgspec
from msgspec import Struct

from service.model.answer import Answer, Because, CauseAnswer
from service.model.graph import Graph
from service.model.quantities import (
    Aim,
    ChangeId,
    FindingId,
    LeftOutReason,
    MeasureId,
    MovementId,
    RegionId,
    Side,
    TargetId,
    Urgency,
    Verdict,
)
from service.model.screen import Screen

CASES = Path(__file__).parent / "cases"
ONE_SIDED: tuple[Side, ...] = ("left", "right")


class Written(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Anything written in a case: a field that is not known is a fault."""


class Bound(Written, frozen=True, kw_only=True):
    """Bounds on one number of a cause; `side` only where the cause is on one side."""

    cause: str
    side: Side | None = None
    least: float = 0.0
    most: float = 2.0
    finding: FindingId | None = None
    """For a share: of which finding."""


class Reason(Written, frozen=True, kw_only=True):
    """A reason among those of a cause. Whatever is given must agree."""

    cause: str
    code: str | None = None
    side: Side | None = None
    finding: FindingId | None = None
    change: ChangeId | None = None
    measure: MeasureId | None = None
    speaks: Literal["for", "against"] | None = None


class Kept(Written, frozen=True, kw_only=True):
    """An entry of what was left out. Whatever is given must agree."""

    reason: LeftOutReason
    by: str | None = None
    """Words that stand in its detail."""
    drill: str | None = None


class Referred(Written, frozen=True, kw_only=True):
    """A referral. Whatever is given must agree."""

    id: str
    region: RegionId | None = None
    urgency: Urgency | None = None


class Looked(Written, frozen=True, kw_only=True):
    """Something to look at. Whatever is given must agree."""

    movement: MovementId | None = None
    finding: FindingId | None = None
    change: ChangeId | None = None
    measure: MeasureId | None = None


class Expect(Written, frozen=True, kw_only=True):
    """What must hold of the answer. What is not written is not asked."""

    verdict: Verdict | None = None
    target: TargetId | None = None
    leads: str | None = None
    """The cause, or its stem, at the top."""
    leads_side: Side | None = None
    above: tuple[tuple[str, str], ...] = ()
    """Pairs: the first is listed, and ranks above the second, which may be missing."""
    times: tuple[tuple[str, str, float], ...] = ()
    """The first weighs at least so many times what the second weighs."""
    listed: tuple[str, ...] = ()
    not_listed: tuple[str, ...] = ()
    belief: tuple[Bound, ...] = ()
    weight: tuple[Bound, ...] = ()
    share: tuple[Bound, ...] = ()
    reasons: tuple[Reason, ...] = ()
    no_reasons: tuple[Reason, ...] = ()
    session: bool | None = None
    aims: tuple[Aim, ...] | None = None
    """The aims of all steps, in order."""
    has_aims: tuple[Aim, ...] = ()
    no_aims: tuple[Aim, ...] = ()
    steps_least: int = 0
    steps_most: int = 20
    trains: tuple[str, ...] = ()
    """Causes, each served by some step."""
    trains_any: tuple[str, ...] = ()
    """Causes of which at least one is served by some step."""
    not_trains: tuple[str, ...] = ()
    drills_any: tuple[str, ...] = ()
    no_drills: tuple[str, ...] = ()
    first_side: Side | None = None
    """Every step that is done side by side starts on this one, with more sets."""
    no_loads: tuple[RegionId, ...] = ()
    """No step loads these regions."""
    kit_used: tuple[str, ...] = ()
    kit_not_used: tuple[str, ...] = ()
    step_reasons: tuple[str, ...] = ()
    """Codes that occur among the reasons of the steps."""
    left_out: tuple[Kept, ...] = ()
    cautions: tuple[str, ...] = ()
    referrals: tuple[Referred, ...] = ()
    no_referrals: bool = False
    warnings: tuple[str, ...] = ()
    no_warnings: tuple[str, ...] = ()
    look_at: tuple[Looked, ...] = ()
    looks: bool | None = None
    """Whether there is anything to look at."""
    retest_measures: tuple[MeasureId, ...] = ()
    carry_over: tuple[str, ...] = ()
    """Words that stand somewhere in the carry-over."""
    words: tuple[str, ...] = ()
    """Words that stand somewhere in the answer."""
    no_words: tuple[str, ...] = ()
    more_than_beside: tuple[str, ...] = ()
    """Causes that weigh more here than in the screen beside."""
    less_than_beside: tuple[str, ...] = ()
    believed_more: tuple[str, ...] = ()
    """Causes more likely here than in the screen beside."""
    believed_less: tuple[str, ...] = ()
    causes_as_beside: bool = False
    session_as_beside: bool = False


class Case(Written, frozen=True, kw_only=True):
    """One golden case: `beside` is another screen that this one is held against."""

    id: str
    says: str
    origin: str
    fact: str = ""
    """Id and wording of the fact of common practice, where it rests on one."""
    screen: Screen
    beside: Screen | None = None
    expect: Expect


class CaseFile(Written, frozen=True, kw_only=True):
    """A file of cases."""

    cases: tuple[Case, ...]


def golden_cases() -> tuple[Case, ...]:
    """Return every case of every file, sorted by id; two cases of one id are a fault."""
    found = [
        case
        for path in sorted(CASES.glob("*.toml"))
        for case in msgspec.toml.decode(path.read_bytes(), type=CaseFile).cases
    ]
    ids = [case.id for case in found]
    if len(ids) != len(set(ids)):
        raise AssertionError(f"two cases of one id: {sorted(i for i in ids if ids.count(i) > 1)}")
    return tuple(sorted(found, key=lambda case: case.id))


def misses(case: Case, answer: Answer, beside: Answer | None, graph: Graph) -> list[str]:
    """Return what the case expects and the answer does not do, one sentence each."""
    return [
        *_plain(case.expect, answer),
        *_causes(case.expect, answer),
        *_reasons(case.expect, answer),
        *_steps(case.expect, answer, graph),
        *_sides_and_kit(case.expect, answer),
        *_around(case.expect, answer),
        *_words(case.expect, answer),
        *(_beside(case.expect, answer, beside) if beside else ()),
    ]


def named(cause: CauseAnswer, name: str) -> bool:
    """Say if a name is that of the cause, of its stem, or of the cause on its side."""
    return name in (cause.cause, cause.cause.rsplit(".", 1)[0], f"{cause.cause}/{cause.side}")


def ranked(answer: Answer, name: str) -> int:
    """Return the place of the first cause of that name, or a place behind all."""
    places = (n for n, cause in enumerate(answer.causes) if named(cause, name))
    return next(places, len(answer.causes))


def weight_of(answer: Answer, name: str) -> float:
    """Return what the causes of that name weigh together."""
    return sum(cause.weight for cause in answer.causes if named(cause, name))


def belief_in(answer: Answer, name: str) -> float:
    """Return the largest belief in a cause of that name, 0 where it is not listed."""
    return max((cause.belief for cause in answer.causes if named(cause, name)), default=0.0)


def _plain(expect: Expect, answer: Answer) -> Iterator[str]:
    if expect.verdict is not None and answer.verdict != expect.verdict:
        yield f"verdict is {answer.verdict}, not {expect.verdict}"
    if expect.target is not None and answer.target != expect.target:
        yield f"target is {answer.target}, not {expect.target}"
    if expect.session is not None and (answer.session is not None) != expect.session:
        yield "there is a session" if answer.session else "there is no session"
    if expect.looks is not None and bool(answer.look_at) != expect.looks:
        yield f"things to look at: {len(answer.look_at)}"


def _causes(expect: Expect, answer: Answer) -> Iterator[str]:
    told = [(c.cause, c.side, c.weight, c.belief) for c in answer.causes]
    lead = answer.causes[0] if answer.causes else None
    if expect.leads is not None and not (lead and named(lead, expect.leads)):
        yield f"{expect.leads} does not lead: {told[:4]}"
    if expect.leads_side is not None and not (lead and lead.side == expect.leads_side):
        yield f"the leader is not on {expect.leads_side}: {told[:2]}"
    for high, low in expect.above:
        if not ranked(answer, high) < ranked(answer, low):
            yield f"{high} is not above {low}: {told}"
    for high, low, times in expect.times:
        if not weight_of(answer, high) >= times * weight_of(answer, low):
            yield f"{high} {weight_of(answer, high)} is not {times} x {low} {weight_of(answer, low)}"
    for name in expect.listed:
        if ranked(answer, name) == len(answer.causes):
            yield f"{name} is not listed: {told}"
    for name in expect.not_listed:
        if ranked(answer, name) < len(answer.causes):
            yield f"{name} is listed: {told}"
    for what, bounds in (("belief", expect.belief), ("weight", expect.weight)):
        for bound in bounds:
            found = [getattr(c, what) for c in answer.causes if _is(c, bound.cause, bound.side)]
            value = max(found, default=0.0)
            if not bound.least <= value <= bound.most:
                yield f"{what} of {bound.cause} is {value}, not in {bound.least} to {bound.most}"
    for bound in expect.share:
        shares = [
            e.share
            for c in answer.causes
            if _is(c, bound.cause, bound.side)
            for e in c.explains
            if bound.finding in (None, e.finding)
        ]
        if not bound.least <= max(shares, default=0.0) <= bound.most:
            yield f"share of {bound.cause} is {max(shares, default=0.0)}"


def _is(cause: CauseAnswer, name: str, side: Side | None) -> bool:
    return named(cause, name) and side in (None, cause.side)


def _reasons(expect: Expect, answer: Answer) -> Iterator[str]:
    for reason in expect.reasons:
        if not _given(reason, answer):
            told = [
                (b.code, b.finding, b.change, b.measure, b.moved)
                for c in answer.causes
                if _is(c, reason.cause, reason.side)
                for b in c.because
            ]
            yield f"no such reason: {reason}; there are {told}"
    for reason in expect.no_reasons:
        if _given(reason, answer):
            yield f"there is such a reason: {reason}"


def _given(reason: Reason, answer: Answer) -> bool:
    return any(
        _agrees(reason, because)
        for cause in answer.causes
        if _is(cause, reason.cause, reason.side)
        for because in cause.because
    )


def _agrees(reason: Reason, because: Because) -> bool:
    moved = because.moved or 0.0
    speaks = reason.speaks is None or (moved > 0 if reason.speaks == "for" else moved < 0)
    return (
        speaks
        and reason.code in (None, because.code)
        and reason.finding in (None, because.finding)
        and reason.change in (None, because.change)
        and reason.measure in (None, because.measure)
    )


def _steps(expect: Expect, answer: Answer, graph: Graph) -> Iterator[str]:
    steps = answer.session.steps if answer.session else ()
    told = [(step.drill, step.aim) for step in steps]
    aims = tuple(step.aim for step in steps)
    drills = [graph.drills[step.drill] for step in steps]
    served = {one.cause for drill in drills for one in drill.trains}
    if expect.aims is not None and aims != expect.aims:
        yield f"aims are {aims}, not {expect.aims}"
    for aim in expect.has_aims:
        if aim not in aims:
            yield f"no step of aim {aim}: {told}"
    for aim in expect.no_aims:
        if aim in aims:
            yield f"a step of aim {aim}: {told}"
    if not expect.steps_least <= len(steps) <= expect.steps_most:
        yield f"{len(steps)} steps: {told}"
    for cause in expect.trains:
        if cause not in served:
            yield f"no step serves {cause}: {told}"
    if expect.trains_any and not served.intersection(expect.trains_any):
        yield f"no step serves any of {expect.trains_any}: {told}"
    for cause in expect.not_trains:
        if cause in served:
            yield f"a step serves {cause}: {told}"
    names = [drill.id for drill in drills]
    if expect.drills_any and not set(names).intersection(expect.drills_any):
        yield f"none of {expect.drills_any}: {told}"
    for drill in expect.no_drills:
        if drill in names:
            yield f"{drill} is planned: {told}"
    for region in expect.no_loads:
        if any(region in drill.loads for drill in drills):
            yield f"a step loads the {region}: {told}"


def _sides_and_kit(expect: Expect, answer: Answer) -> Iterator[str]:
    steps = answer.session.steps if answer.session else ()
    if expect.first_side is not None:
        sided = [step.sides for step in steps if len(step.sides) == 2]
        if not sided or any(s[0].side != expect.first_side for s in sided):
            yield f"not every sided step starts {expect.first_side}: {sided}"
        if any(s[0].sets <= s[1].sets for s in sided):
            yield f"the first side does not get more sets: {sided}"
    used = {one for step in steps for one in step.kit}
    for kit in expect.kit_used:
        if kit not in used:
            yield f"{kit} is not used: {sorted(used)}"
    for kit in expect.kit_not_used:
        if kit in used:
            yield f"{kit} is used"
    codes = {because.code for step in steps for because in step.because}
    for code in expect.step_reasons:
        if code not in codes:
            yield f"no step gives the reason {code}: {sorted(codes)}"


def _around(expect: Expect, answer: Answer) -> Iterator[str]:
    for kept in expect.left_out:
        if not any(
            one.reason == kept.reason
            and (kept.by or "") in one.detail
            and kept.drill in (None, one.drill)
            for one in answer.left_out
        ):
            yield f"{kept} is not left out: {[(o.reason, o.detail) for o in answer.left_out]}"
    cautions = {caution.id for caution in answer.cautions}
    for caution in expect.cautions:
        if caution not in cautions:
            yield f"no caution {caution}: {sorted(cautions)}"
    for referred in expect.referrals:
        if not any(
            one.id == referred.id
            and referred.region in (None, one.region)
            and referred.urgency in (None, one.urgency)
            for one in answer.referrals
        ):
            yield f"no referral {referred}: {[(r.id, r.region) for r in answer.referrals]}"
    if expect.no_referrals and answer.referrals:
        yield f"referred: {[r.id for r in answer.referrals]}"
    codes = {warning.code for warning in answer.warnings}
    for code in expect.warnings:
        if code not in codes:
            yield f"no warning {code}: {sorted(codes)}"
    for code in expect.no_warnings:
        if code in codes:
            yield f"there is a warning {code}"
    for look in expect.look_at:
        if not any(
            look.movement in (None, one.movement)
            and look.finding in (None, one.finding)
            and look.change in (None, one.change)
            and look.measure in (None, one.measure)
            for one in answer.look_at
        ):
            yield f"{look} is not asked: {[one.text for one in answer.look_at]}"
    measures = {retest.measure for retest in answer.retest}
    for measure in expect.retest_measures:
        if measure not in measures:
            yield f"{measure} is not measured again"


def _words(expect: Expect, answer: Answer) -> Iterator[str]:
    whole = msgspec.json.encode(answer).decode().lower()
    carried = " ".join(answer.carry_over).lower()
    for words in expect.words:
        if words.lower() not in whole:
            yield f"`{words}` is said nowhere"
    for words in expect.no_words:
        if words.lower() in whole:
            at = whole.index(words.lower())
            yield f"`{words}` is said: ...{whole[max(0, at - 60) : at + 60]}..."
    for words in expect.carry_over:
        if words.lower() not in carried:
            yield f"`{words}` is not in the carry-over: {carried}"


def _beside(expect: Expect, answer: Answer, beside: Answer) -> Iterator[str]:
    for name in expect.more_than_beside:
        if not weight_of(answer, name) > weight_of(beside, name):
            yield f"{name} weighs {weight_of(answer, name)}, beside {weight_of(beside, name)}"
    for name in expect.less_than_beside:
        if not weight_of(answer, name) < weight_of(beside, name):
            yield f"{name} weighs {weight_of(answer, name)}, beside {weight_of(beside, name)}"
    for name in expect.believed_more:
        if not belief_in(answer, name) > belief_in(beside, name):
            yield f"{name} is believed {belief_in(answer, name)}, beside {belief_in(beside, name)}"
    for name in expect.believed_less:
        if not belief_in(answer, name) < belief_in(beside, name):
            yield f"{name} is believed {belief_in(answer, name)}, beside {belief_in(beside, name)}"
    if expect.causes_as_beside and answer.causes != beside.causes:
        yield "the causes differ from those of the screen beside"
    if expect.session_as_beside and answer.session != beside.session:
        yield "the session differs from that of the screen beside"
