"""Which live records some answer shows at work, and which none does.

Apart from the cases, because a case may hold although half of the pack is never touched. Texts
have no status and are not counted; cut-offs of landmarks are read before a screen exists. A
source is at work where a record at work cites it; one that none cites is named, and is no fault.
"""

from collections.abc import Iterable, Iterator

from msgspec import Struct, structs

from service.authoring.sweep import sweep
from service.engine.plan import plan
from service.engine.review import review
from service.engine.review.notes import KINDS as KINDS_OF_REVIEWS
from service.engine.series import series
from service.engine.series.pace import KINDS as KINDS_OF_WEEKS
from service.model.answer import Answer, Because
from service.model.graph import Graph
from service.model.knowledge import FindingRecord, MeasureRecord, Record
from service.model.review import Done, ReviewRequest
from service.model.screen import Pain, Screen
from service.model.series import SeriesRequest

KINDS = (
    "alerts", "causes", "cautions", "changes", "doses", "drills", "findings", "kit", "ladders",
    "links", "measures", "movements", "muscles", "rules", "sources",
)  # fmt: skip
Used = set[tuple[str, str]]


class KindCoverage(Struct, frozen=True, kw_only=True):
    """Live records of a kind: how many, how many the cases and the sweep show, which none."""

    kind: str
    live: int
    by_cases: int
    by_all: int
    idle: tuple[str, ...]


class Coverage(Struct, frozen=True, kw_only=True):
    """Every kind; `screens` were answered, those of the sweep included until nothing was idle."""

    kinds: tuple[KindCoverage, ...]
    screens: int

    @property
    def whole(self) -> bool:
        """Whether every live record was seen at work."""
        return not any(kind.idle for kind in self.kinds if kind.kind != "sources")


def coverage_of(graph: Graph, answered: Iterable[tuple[Screen, Answer]]) -> Coverage:
    """Return what the answers of cases show at work, and what more the sweep does."""
    cases: Used = set()
    screens = 0
    for screen, answer in answered:
        cases |= used_in(screen, answer, graph)
        cases |= used_in_weeks(screen, graph) if _lacks_weeks(cases, graph) else set()
        cases |= used_in_reviews(screen, answer, graph) if _lacks_reviews(cases, graph) else set()
        screens += 1
    every = set(cases)
    for key, occasions in sweep(graph):
        for screen in occasions if key not in every else ():
            answer = plan(screen, graph)
            every |= used_in(screen, answer, graph)
            if _lacks_reviews(every, graph):
                every |= used_in_reviews(screen, answer, graph)
            every |= used_in_weeks(screen, graph) if _lacks_weeks(every, graph) else set()
            screens += 1
            if key in every:
                break
    cases, every = _with_cited(cases, graph), _with_cited(every, graph)
    return Coverage(
        kinds=tuple(
            KindCoverage(
                kind=kind,
                live=len(getattr(graph, kind)),
                by_cases=sum(k == kind for k, _ in cases),
                by_all=sum(k == kind for k, _ in every),
                idle=tuple(name for name in getattr(graph, kind) if (kind, name) not in every),
            )
            for kind in KINDS
        ),
        screens=screens,
    )


def used_in(screen: Screen, answer: Answer, graph: Graph) -> Used:
    """Return (kind, id) of the records that the answer shows at work, sources apart."""
    used: Used = {("alerts", one.id) for one in answer.referrals if one.id in graph.alerts}
    used |= {("cautions", one.id) for one in answer.cautions}
    used |= {("cautions", one.id) for one in answer.referrals if one.id in graph.cautions}
    if answer.target is not None:
        used.add(("movements", answer.target))
    used |= set(_of_causes(answer, graph))
    used |= set(_of_steps(answer, graph))
    for left in answer.left_out:
        used |= {("rules", rule.id) for rule in graph.rules.values() if rule.say in left.detail}
    used |= set(_of_limits(screen, answer, graph))
    used |= {("measures", one.measure) for one in answer.retest if one.measure is not None}
    used |= {
        ("measures", screen.measurements[int(one.pointer.split("/")[2])].measure)
        for one in answer.warnings
        if one.code == "measure_silent"
    }
    used |= {("muscles", muscle.id) for muscle in graph.muscles.values() if muscle.actions}
    used |= {
        ("measures", fact.measure)
        for kind, name in tuple(used)
        if kind in ("alerts", "cautions")
        for facts in getattr(graph, kind)[name].when
        for fact in facts
        if fact.measure is not None
    }
    return used | set(_needed(used, graph))


def used_in_weeks(screen: Screen, graph: Graph) -> Used:
    """Return the rules that a series from the screen keeps; those of a single day are no part."""
    answer = series(SeriesRequest(screen=screen, weeks=12, sessions_a_week=5), graph)
    kept: list[str | None] = [one.rule for one in answer.criteria]
    kept += [one.rule for one in answer.notes]
    kept += [change.rule for week in answer.weeks for change in week.changes]
    return {("rules", rule) for rule in kept if rule is not None}


def used_in_reviews(screen: Screen, answer: Answer, graph: Graph) -> Used:
    """Return the rules at work where the screen comes back: as it was, and turned round in pain."""
    drills = [step.drill for step in answer.session.steps] if answer.session else []
    hurt = tuple(Done(drill=drill, sessions=9, felt="right", pain=4) for drill in drills)
    turned = [
        structs.replace(o, finding=graph.findings[o.finding].opposite, trials=())
        for o in screen.observations
        if o.finding in graph.findings and graph.findings[o.finding].opposite
    ]
    gone = [structs.replace(o, grade="absent", trials=()) for o in screen.observations]
    sore = structs.replace(screen.client, pain=(Pain(region="knee", score=4),))
    calm = structs.replace(screen, client=structs.replace(screen.client, pain=()))
    back = structs.replace(screen, observations=(*gone, *turned)[:128], client=sore)
    used: Used = set()
    for first, last, done in ((screen, screen, hurt), (calm, back, ())):
        said = review(ReviewRequest(baseline=first, retest=last, days_between=84, done=done), graph)
        used |= {("rules", note.rule) for note in said.notes if note.rule is not None}
        because = [reason for drill in said.drills for reason in drill.because]
        used |= {("rules", reason.rule) for reason in because if reason.rule is not None}
        # these hold in every comparison, and name themselves nowhere
        silent = {
            "cause_stays": bool(said.causes),
            "finding_change": bool(said.findings),
            "real_change": any(m.real_change is not None for m in said.measures),
        }
        used |= {("rules", r.id) for r in graph.rules.values() if silent.get(r.kind)}
    return used


def _lacks_reviews(used: Used, graph: Graph) -> bool:
    rules = [rule.id for rule in graph.rules.values() if rule.kind in KINDS_OF_REVIEWS]
    return any(("rules", rule) not in used for rule in rules)


def _lacks_weeks(used: Used, graph: Graph) -> bool:
    rules = [rule.id for rule in graph.rules.values() if rule.kind in KINDS_OF_WEEKS]
    return any(("rules", rule) not in used for rule in rules)


def _of_causes(answer: Answer, graph: Graph) -> Iterator[tuple[str, str]]:
    for cause in answer.causes:
        yield "causes", cause.cause
        for part in cause.muscles:
            yield "muscles", part.muscle
        for seen in cause.explains:
            yield "findings", seen.finding
            yield "movements", seen.movement
            for link in graph.link_of.get((cause.cause, seen.finding), ()):
                if seen.share > 0 and seen.movement in graph.links[link].strengths:
                    yield "links", link
        for because in cause.because:
            yield from _of_reason(because)


def _of_reason(because: Because) -> Iterator[tuple[str, str]]:
    if because.change is not None:
        yield "changes", because.change
    if because.measure is not None:
        yield "measures", because.measure
    if because.rule is not None:
        yield "rules", because.rule


def _of_steps(answer: Answer, graph: Graph) -> Iterator[tuple[str, str]]:
    ladder_of = {rung: one.id for one in graph.ladders.values() for rung in one.rungs}
    for step in answer.session.steps if answer.session else ():
        drill = graph.drills[step.drill]
        yield "drills", drill.id
        yield "doses", drill.dose
        if drill.id in ladder_of:
            yield "ladders", ladder_of[drill.id]
        for kit in step.kit:
            yield "kit", kit
        for muscle in drill.stretches:
            yield "muscles", muscle
        for because in step.because:
            yield from _of_reason(because)


def _of_limits(screen: Screen, answer: Answer, graph: Graph) -> Iterator[tuple[str, str]]:
    """Yield the rules that name themselves nowhere and had something to hold in a session."""
    if answer.session is None:
        return
    steps = answer.session.steps
    drills = [graph.drills[step.drill] for step in steps]
    on_ladders = {rung for ladder in graph.ladders.values() for rung in ladder.rungs}
    new = [drill.id for drill in drills if drill.id not in screen.recent]
    held = {
        "level_limit": any(left.reason == "level" for left in answer.left_out),
        "practice_step": answer.verdict == "train" and any(d.aim == "practice" for d in drills),
        "taught_from_afar": any(left.reason == "setting" for left in answer.left_out),
        "try_before_training": answer.verdict == "unsure" and _bare(screen),
        "build_not_trained": any(graph.causes[c.cause].mode == "build" for c in answer.causes),
        "new_drill_limit": screen.client.level == "new" and len(new) > 1,
        "one_rung": any(drill.id in on_ladders for drill in drills),
        "range_limit": any(drill.aim == "range" for drill in drills),
        "static_hold_limit": any(drill.stretches for drill in drills),
        "step_limit": len(steps) > 1,
    }
    for rule in graph.rules.values():
        if held.get(rule.kind, False):
            yield "rules", rule.id


def _bare(screen: Screen) -> bool:
    """Say if one finding was seen and nothing tried or measured."""
    seen = [one for one in screen.observations if one.grade != "absent"]
    return len(seen) == 1 and not (seen[0].trials or screen.measurements or screen.known)


def _needed(used: Used, graph: Graph) -> Iterator[tuple[str, str]]:
    """Yield the kit that changes and measures at work need."""
    for kind, name in used:
        if kind == "changes":
            yield from (("kit", kit) for kit in graph.changes[name].kit)
        elif kind == "measures":
            for method in graph.measures[name].methods:
                yield from (("kit", kit) for kit in method.kit)


def _with_cited(used: Used, graph: Graph) -> Used:
    """Return the records with the sources that they cite."""
    cited = set(used)
    for kind, name in used:
        record: Record = getattr(graph, kind)[name]
        cited |= {("sources", source) for source in (*record.sources, *_inside(record))}
    return cited


def _inside(record: Record) -> Iterator[str]:
    """Yield the sources that single numbers of a record rest on."""
    if isinstance(record, FindingRecord):
        yield from (eye.source for eye in record.eyes)
    elif isinstance(record, MeasureRecord):
        for parts in (record.methods, record.references, record.speaks_for):
            yield from (part.source for part in parts)
