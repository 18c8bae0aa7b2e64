"""Whether an answer holds to a golden case. Apart from what a case may say, because people who
write cases need not read how they are checked.
"""

from collections.abc import Iterator

import msgspec

from service.authoring.cases import Case, Expect, Reason
from service.model.answer import Answer, Because, CauseAnswer
from service.model.graph import Graph
from service.model.knowledge import Load
from service.model.quantities import Side

LOADS: tuple[Load, ...] = ("none", "light", "moderate", "heavy")


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
            yield f"{high} does not weigh {times} times what {low} does: {told}"
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
    for aim, most in expect.most_of:
        if aims.count(aim) > most:
            yield f"{aims.count(aim)} steps of aim {aim}: {told}"
    for drill in drills:
        if expect.load_most and LOADS.index(drill.load) > LOADS.index(expect.load_most):
            yield f"{drill.id} asks for a {drill.load} load"
    neighbours = {(s.drill, r.drill) for s in steps for r in (s.easier, s.harder) if r}
    for rung in expect.rungs:
        if rung not in neighbours:
            yield f"{rung[1]} is not next to {rung[0]}: {sorted(neighbours)}"
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
    for name in expect.no_drills:
        if name in names:
            yield f"{name} is planned: {told}"
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
