"""A screen as it is understood, and what of it would be ignored: nothing is decided.

Apart from the plan so that software can check what it sends before a client stands there.
"""

from service.engine.languages import graph_in
from service.engine.limits import cautions_of, referrals_of, warnings_of
from service.engine.plan import decision_of, made_by
from service.engine.read import Seen, read
from service.engine.safety import judge
from service.engine.weigh import side_of
from service.engine.words import Words
from service.model.answer import (
    KnownUnderstood,
    ReadingUnderstood,
    TrialUnderstood,
    Understood,
    Validation,
)
from service.model.graph import Graph
from service.model.screen import Screen


def validate(screen: Screen, graph: Graph) -> Validation:
    """Return the screen as a plan would read it, each part in the order in which it is weighed."""
    graph = graph_in(graph, screen.options.language)
    words = Words(graph, screen.options.language)
    reading = read(screen, graph)
    safety = judge(screen, reading.target, graph)
    relevance = [s.relevance for s in reading.evidence.sightings]
    seen = [*zip(reading.positives, relevance, strict=True), *((s, 0.0) for s in reading.negatives)]
    return Validation(
        ref=screen.client.ref,
        target=reading.target,  # type: ignore[arg-type]
        target_assumed=reading.target is not None and reading.target != screen.target,
        stops=safety.refer,
        observations=tuple(
            _observation(one, matters, graph)
            for one, matters in sorted(seen, key=lambda pair: pair[0].event)
        ),
        measurements=tuple(
            ReadingUnderstood(
                measure=m.measure,  # type: ignore[arg-type]
                method=m.method,
                side=m.side,
                value=round(m.value, 6),
                unit=m.unit,
                usual=m.mean,
                causes=tuple(sorted({graph.network.variables[v].id for v, _ in m.targets})),
                likelihood_ratio=round(m.ratio, 6),
            )
            for m in reading.measured
        ),
        known=tuple(_known(v, mask, present, graph) for v, mask, present in reading.known),
        referrals=referrals_of(safety, graph),
        cautions=cautions_of(safety, graph),
        warnings=warnings_of(reading, None, graph, words),
        made_by=made_by(graph),
        decision=decision_of(screen, graph),
    )


def _observation(seen: Seen, matters: float, graph: Graph) -> Understood:
    key = graph.events[seen.event]
    return Understood(
        movement=key.movement,  # type: ignore[arg-type]
        finding=key.finding,  # type: ignore[arg-type]
        side=key.side,
        grade=seen.grade,  # type: ignore[arg-type]
        views=seen.views,
        trials=tuple(
            TrialUnderstood(
                change=t.change,
                result=t.result,
                from_depth=seen.half_depth_told and t.change == "half_depth",
            )
            for t in seen.trials
        ),
        matters=round(matters, 6),
    )


def _known(variable: int, mask: int, present: bool, graph: Graph) -> KnownUnderstood:
    cause = graph.causes[graph.network.variables[variable].id]
    return KnownUnderstood(cause=cause.id, side=side_of(mask, cause.sided), present=present)
