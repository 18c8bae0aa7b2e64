"""From two screens to a review: what changed, what to do with each drill, and the next plan.

Apart from its parts because here they are put in order and the warnings are gathered.
"""

import hashlib

import msgspec
from msgspec.structs import replace

from service.engine.decide import decide
from service.engine.languages import graph_in
from service.engine.limits import referrals_of
from service.engine.plan import decision_of, made_by, plan
from service.engine.review.drills import Changed, drills_of, left_behind
from service.engine.review.findings import findings_of, looks_of
from service.engine.review.joint import Joint, Place, joint_of
from service.engine.review.measures import measures_of, values_of
from service.engine.review.notes import (
    notes_of,
    pain_in_drills,
    referrals_with,
    risen,
    rules_of,
    summary_of,
)
from service.engine.review.unused import (
    not_compared,
    of_between,
    of_pain,
    of_screen,
    unknown_drills,
    warning,
)
from service.engine.words import Words
from service.model.answer import Answer, Warning
from service.model.graph import Graph
from service.model.network import LEFT, RIGHT
from service.model.quantities import Side
from service.model.review import (
    CauseReview,
    DrillReview,
    FindingReview,
    ReviewAnswer,
    ReviewRequest,
    Visit,
)
from service.model.screen import Options, Screen

_ENCODER = msgspec.json.Encoder()


def review(request: ReviewRequest, graph: Graph) -> ReviewAnswer:
    """Return the review. Pure: the same request and pack give the same bytes."""
    language = request.retest.options.language
    graph = graph_in(graph, language)
    words = Words(graph, language)
    told: list[Warning] = []
    days = _days(request, words, told)
    visits = _visits(request, days, words, told)
    first, last = decide(request.baseline, graph), decide(request.retest, graph)
    looks = looks_of(first.reading, last.reading)
    findings = findings_of(looks, last.reading, graph, words)
    values = [(day, values_of(screen, graph)) for day, screen in visits]
    measures = measures_of(tuple(values), graph, words, charts=request.charts)
    sorer = frozenset(pain.region for _, pain in risen(request, graph))
    changed = Changed(days=days, findings=findings, measures=measures, sorer=sorer)
    unknown = rules_of(graph)["cause_stays"].numbers["unknown_days"]
    since = unknown if days is None else days
    joint = joint_of(first.reading.evidence, last.reading.evidence, since, graph)
    decision = _decision(request, graph)
    drills = drills_of(request.done, changed, request.retest, last.safety, graph, words)
    notes = tuple(notes_of(request, changed, graph, words))
    told += of_screen("/baseline", first.reading, joint.earlier, graph, words)
    told += of_between(request, graph, words)
    told += of_pain(request, graph, words)
    told += not_compared(looks, values[0][1], values[-1][1], graph, words)
    told += unknown_drills(request, graph, words)
    return ReviewAnswer(
        summary=summary_of(findings, measures, graph.decision.present_from, words),
        ref=request.retest.client.ref,
        days_between=days,
        measures=measures,
        findings=findings,
        causes=_causes(joint, graph),
        drills=drills,
        referrals=referrals_with(notes, request, graph, referrals_of(last.safety, graph)),
        notes=notes,
        next=_next(request, drills, findings, joint, decision, graph),
        warnings=tuple(sorted(told, key=lambda w: (w.pointer, w.code, w.text))),
        made_by=made_by(graph),
        decision=decision,
    )


# --- when ---------------------------------------------------------------------------------


def _days(request: ReviewRequest, words: Words, told: list[Warning]) -> int | None:
    """Return the days between, None where they were not told or run backwards."""
    if request.days_between is None:
        told.append(warning(words, "days_not_told", "/days_between"))
        return None
    if request.days_between <= 0:
        told.append(warning(words, "days_reversed", "/days_between"))
        return None
    return request.days_between


def _visits(
    request: ReviewRequest, days: int | None, words: Words, told: list[Warning]
) -> tuple[tuple[int | None, Screen], ...]:
    """Return all screens in order of days: the baseline, what lies between, the retest."""
    between: list[Visit] = []
    for n, visit in enumerate(request.between):
        if days is None or not 0 < visit.day < days:
            told.append(warning(words, "day_outside", f"/between/{n}/day"))
        elif any(visit.day == other.day for other in between):
            told.append(warning(words, "day_repeated", f"/between/{n}/day"))
        else:
            between.append(visit)
    between.sort(key=lambda visit: visit.day)
    return (
        (0, request.baseline),
        *((visit.day, visit.screen) for visit in between),
        (days, request.retest),
    )


# --- what is likely -------------------------------------------------------------------------


def _causes(joint: Joint, graph: Graph) -> tuple[CauseReview, ...]:
    """Return the causes worth naming, the likeliest now first, then by id and side."""
    least = rules_of(graph)["real_change"].numbers["listed_percent"] / 100
    names = tuple(graph.causes)
    found = [
        CauseReview(
            cause=names[variable],
            name=graph.causes[names[variable]].name,
            side=_side((variable, mask), graph),
            before=round(before, 6),
            after=round(joint.after[variable, mask], 6),
        )
        for (variable, mask), before in joint.before.items()
        if max(before, joint.after[variable, mask]) >= least
    ]
    return tuple(sorted(found, key=lambda c: (-c.after, -c.before, c.cause, c.side)))


def _side(place: Place, graph: Graph) -> Side:
    variable, mask = place
    if not graph.network.variables[variable].sided:
        return "none"
    sides: dict[int, Side] = {LEFT: "left", RIGHT: "right"}
    return sides[mask]


# --- what next ------------------------------------------------------------------------------


def _next(
    request: ReviewRequest,
    drills: tuple[DrillReview, ...],
    findings: tuple[FindingReview, ...],
    joint: Joint,
    decision: str,
    graph: Graph,
) -> Answer:
    """Return the plan for the retest with what the baseline says in it.

    Pain that drills gave counts as pain of today where nobody asked about that. What went too far
    the other way is gone on with without bands, cues or other help. Drills left
    behind are not named as asked for; `include` and `explain` are not followed, as
    they would ask what a plan without a past would be.
    """
    screen = request.retest
    if screen.client.pain is None and (pain := pain_in_drills(request, graph)):
        screen = replace(screen, client=replace(screen.client, pain=pain))
    behind = left_behind(drills, graph)
    if any(finding.over_corrected for finding in findings):
        behind |= {drill.id for drill in graph.drills.values() if drill.helper is not None}
    answer = plan(
        replace(
            screen,
            recent=tuple(sorted({*screen.recent, *(d.drill for d in drills)})),
            avoid=tuple(sorted({*screen.avoid, *behind})),
            options=Options(language=screen.options.language),
        ),
        graph,
        infer_with=lambda _network, _evidence: joint.later,
    )
    kept = tuple(
        one for one in answer.left_out if one.reason != "asked" or one.drill in screen.avoid
    )
    return replace(answer, left_out=kept, decision=decision)


def _decision(request: ReviewRequest, graph: Graph) -> str:
    """Return the SHA-256 of everything that was decided on, lists sorted, without options."""
    bare = Screen(observations=())
    rest = replace(
        request,
        baseline=bare,
        retest=replace(bare, options=Options()),
        between=(),
        charts=False,
        done=tuple(sorted(request.done, key=_ENCODER.encode)),
    )
    digest = hashlib.sha256(_ENCODER.encode(rest))
    visits = [(v.day, decision_of(v.screen, graph)) for v in request.between]
    for day, screen in [(0, decision_of(request.baseline, graph)), *sorted(visits)]:
        digest.update(f"{day} {screen}".encode())
    digest.update(decision_of(request.retest, graph).encode())
    return digest.hexdigest()
