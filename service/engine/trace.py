"""The full trace: every number a decision rests on, as flat nodes that name what they came from.

Built only when asked for. Nothing here decides; each number is taken from the decision itself or
worked out again from its parts, so that the parts can be held against the whole.
"""

import math
from collections.abc import Iterator, Mapping

import msgspec

from service.engine.choose import choose
from service.engine.decide import Decided, Weighed
from service.engine.exchange import parts_of, returns
from service.engine.infer_terms import STRONGEST
from service.engine.options import Laid
from service.engine.weigh import belief, side_of
from service.model.answer import Session, TraceNode
from service.model.choice import Choice, Limits, Problem
from service.model.graph import Graph
from service.model.network import ANY, LEFT, RIGHT
from service.model.quantities import MICRO, LeftOutReason

Where = tuple[int, int]
CARRY = "carry_over"
PLENTY = 1 << 20
"""A limit that never binds."""


def trace_of(decided: Decided, session: Session | None, graph: Graph) -> tuple[TraceNode, ...]:
    """Return the nodes: priors, what moved each cause, posteriors, shares, weights; then the
    session's terms, the limits that bound, the rules that fired, and why each other drill lost.

    Causes that evidence touched or that weigh are traced on all sides; empty where it refers.
    """
    weighed = decided.weighed
    if weighed is None:
        return ()
    nodes = list(_beliefs(decided, weighed, graph))
    if weighed.laid is not None and weighed.choice is not None:
        nodes += _terms(weighed.laid, weighed.choice, graph)
        if any(weighed.weighing.by_cause):
            nodes += _constraints(weighed.laid.problem, weighed.choice)
        nodes += _rules(weighed, session, graph)
        nodes += _lost(weighed.laid, weighed.choice, graph)
    return tuple(nodes)


def _node(
    kind: str,
    name: str,
    value: float | None,
    unit: str = "",
    inputs: tuple[str, ...] = (),
    detail: str = "",
    sources: tuple[str, ...] = (),
) -> TraceNode:
    return TraceNode(
        id=f"{kind}/{name}",
        kind=kind,  # type: ignore[arg-type]
        value=value if value is None else round(value, 9),
        unit=unit,
        inputs=inputs,
        detail=detail,
        sources=sources,
    )


# --- what is likely --------------------------------------------------------------------------


def _beliefs(decided: Decided, weighed: Weighed, graph: Graph) -> Iterator[TraceNode]:
    moves: dict[Where, list[TraceNode]] = {}
    shares: dict[Where, list[TraceNode]] = {}
    _sightings(decided, weighed, graph, moves, shares)
    _absences(decided, graph, moves)
    _measurements(decided, weighed, graph, moves)
    for variable, mask, present in decided.reading.known:
        where = (variable, mask)
        node = _node(
            "likelihood", f"known/{_named(where, graph)}", None, detail=str(present).lower()
        )
        moves.setdefault(where, []).append(node)
    for where in _touched(weighed, graph, {*moves, *shares, *weighed.weighing.by_side}):
        variable, mask = where
        cause = graph.causes[graph.network.variables[variable].id]
        name = _named(where, graph)
        prior = belief(graph.network.variables[variable].prior, mask)
        yield _node("prior", name, prior, "probability", sources=cause.sources)
        yield from moves.get(where, ())
        yield _node(
            "posterior",
            name,
            belief(weighed.posterior.states[variable], mask),
            "probability",
            (f"prior/{name}", *(n.id for n in moves.get(where, ()))),
        )
        for share in shares.get(where, ()):
            yield msgspec.structs.replace(share, inputs=(f"posterior/{name}", *share.inputs))
        yield _node(
            "weight",
            name,
            weighed.weighing.by_side.get(where, 0) / MICRO,
            "part",
            tuple(n.id for n in shares.get(where, ())),
        )


def _touched(weighed: Weighed, graph: Graph, wheres: set[Where]) -> Iterator[Where]:
    """Yield, in order, the causes on all their sides that evidence touched on any."""
    variables = {variable for variable, _ in wheres}
    states = zip(graph.network.variables, weighed.posterior.states, strict=True)
    for at, (variable, now) in enumerate(states):
        if at in variables or now != variable.prior:
            for mask in (LEFT, RIGHT) if variable.sided else (ANY,):
                yield at, mask


def _named(where: Where, graph: Graph) -> str:
    cause = graph.causes[graph.network.variables[where[0]].id]
    return f"{cause.id}/{side_of(where[1], cause.sided)}"


def _sightings(
    decided: Decided,
    weighed: Weighed,
    graph: Graph,
    moves: dict[Where, list[TraceNode]],
    shares: dict[Where, list[TraceNode]],
) -> None:
    reading = decided.reading
    rows = zip(
        reading.positives, reading.evidence.sightings, weighed.posterior.sightings, strict=True
    )
    for seen, sighting, said in rows:
        if said is None:
            continue
        key = graph.events[seen.event]
        event = f"{key.movement}/{key.finding}/{key.side}"
        parents = graph.network.events[seen.event].parents
        for parent, part in zip(parents, said.parents, strict=True):
            where = (parent.variable, parent.mask)
            name = _named(where, graph)
            cause = graph.network.variables[parent.variable].id
            cited = {
                s
                for link in graph.link_of.get((cause, key.finding), ())
                for s in graph.links[link].sources
            }
            cited.add(graph.eyes[key.movement, key.finding, seen.view].source)
            own = moves.setdefault(where, [])
            own.append(
                _node(
                    "likelihood",
                    f"seen/{event}/{name}",
                    part.moved,
                    "log odds",
                    detail=f"{seen.grade} {','.join(seen.views)}",
                    sources=tuple(sorted(cited)),
                )
            )
            for trial, moved in zip(seen.trials, part.trial_moved, strict=True):
                own.append(
                    _node(
                        "likelihood",
                        f"trial/{event}/{trial.change}/{name}",
                        moved,
                        "log odds",
                        detail=trial.result,
                        sources=graph.changes[trial.change].sources,
                    )
                )
            detail = f"relevance={sighting.relevance:.9g}"
            share = _node(
                "share",
                f"{event}/{name}",
                part.share,
                "probability",
                (f"likelihood/seen/{event}/{name}",),
                detail,
            )
            shares.setdefault(where, []).append(share)


def _absences(decided: Decided, graph: Graph, moves: dict[Where, list[TraceNode]]) -> None:
    reading = decided.reading
    for seen, absence in zip(reading.negatives, reading.evidence.absences, strict=True):
        key = graph.events[seen.event]
        for parent in graph.network.events[seen.event].parents:
            where = (parent.variable, parent.mask)
            moved = math.log(1 - min(parent.strength * absence.scale, STRONGEST))
            name = f"not_seen/{key.movement}/{key.finding}/{key.side}/{_named(where, graph)}"
            source = graph.eyes[key.movement, key.finding, seen.view].source
            node = _node("likelihood", name, moved, "log odds", sources=(source,))
            moves.setdefault(where, []).append(node)


def _measurements(
    decided: Decided, weighed: Weighed, graph: Graph, moves: dict[Where, list[TraceNode]]
) -> None:
    rows = zip(decided.reading.measured, weighed.posterior.ratio_moved, strict=True)
    for measured, each in rows:
        for where, moved in zip(measured.targets, each, strict=True):
            node = _node(
                "likelihood",
                f"measured/{measured.measure}/{measured.side}/{_named(where, graph)}",
                moved,
                "log odds",
                detail=f"value={measured.value:g} ratio={measured.ratio:.9g}",
                sources=measured.sources,
            )
            moves.setdefault(where, []).append(node)


# --- what is chosen --------------------------------------------------------------------------


def _terms(laid: Laid, choice: Choice, graph: Graph) -> Iterator[TraceNode]:
    """Yield what each drill adds on each cause after the steps before it, and the scores.

    Returns diminish, so what a drill adds depends on the order: that of the session. The terms
    of a drill, its price among them, sum to its score, and the scores to the session's value.
    """
    problem = laid.problem
    sums = [0] * len(problem.weights)
    scores = []
    for n in choice.chosen:
        drill = laid.offered[n].drill
        own, score = [], 0
        for at, effect in parts_of(problem.options[n], problem.weights):
            before = _part(problem, at, sums[at])
            sums[at] += effect
            added = _part(problem, at, sums[at]) - before
            cause = _cause_at(at, graph)
            inputs = () if cause == CARRY else _weight_ids(at, graph)
            detail = f"effect={effect / MICRO:g}"
            term = _node("term", f"{drill}/{cause}", added / MICRO, "value", inputs, detail)
            own.append(term)
            score += added
        own.append(_node("term", f"{drill}/price", -problem.price / MICRO, "value"))
        score -= problem.price
        yield from own
        ids = tuple(term.id for term in own)
        scores.append(
            _node("score", drill, score / MICRO, "value", ids, sources=graph.drills[drill].sources)
        )
        yield scores[-1]
    yield _node("score", "session", choice.value / MICRO, "value", tuple(s.id for s in scores))


def _part(problem: Problem, at: int, effect: int) -> int:
    return problem.weights[at] * returns(problem.curve, effect) // MICRO


def _cause_at(at: int, graph: Graph) -> str:
    variables = graph.network.variables
    return variables[at].id if at < len(variables) else CARRY


def _weight_ids(at: int, graph: Graph) -> tuple[str, ...]:
    sided = graph.network.variables[at].sided
    return tuple(
        f"weight/{_named((at, mask), graph)}" for mask in ((LEFT, RIGHT) if sided else (ANY,))
    )


def _constraints(problem: Problem, choice: Choice) -> Iterator[TraceNode]:
    """Yield each limit that bound: without it the session would be worth this much more."""
    limits = problem.limits
    change = msgspec.structs.replace
    relaxed: tuple[tuple[str, str, Limits], ...] = (
        ("hold_s", str(limits.hold_s), change(limits, hold_s=PLENTY)),
        ("needs_practice", "true", change(limits, needs_practice=False)),
        ("new_drills", str(limits.new_drills), change(limits, new_drills=PLENTY)),
        ("range_drills", str(limits.range_drills), change(limits, range_drills=PLENTY)),
        ("seconds", str(limits.seconds), change(limits, seconds=PLENTY)),
        ("steps", str(limits.steps), change(limits, steps=limits.steps + 1)),
    )
    for name, limit, without in relaxed:
        if without == limits:
            continue
        more = choose(change(problem, limits=without)).value - choice.value
        if more > 0:
            yield _node("constraint", name, more / MICRO, "value", detail=f"limit={limit}")


_KEPT_OUT: Mapping[LeftOutReason, str] = {"level": "level_limit", "setting": "taught_from_afar"}
"""Kinds of the rules behind a reason that names none."""


def _rules(weighed: Weighed, session: Session | None, graph: Graph) -> Iterator[TraceNode]:
    """Yield each rule that shaped the answer, with the steps it shaped."""
    shaped: dict[str, list[str]] = {}
    for step in session.steps if session else ():
        for because in step.because:
            if because.rule is not None:
                shaped.setdefault(because.rule, []).append(f"score/{step.drill}")
    kinds = set(_kinds_held(weighed))
    for rule in graph.rules.values():
        if rule.kind in kinds:
            shaped.setdefault(rule.id, [])
    for name, steps in sorted(shaped.items()):
        record = graph.rules[name]
        inputs = tuple(dict.fromkeys(steps))
        yield _node("rule", name, None, inputs=inputs, detail=record.kind, sources=record.sources)


def _kinds_held(weighed: Weighed) -> Iterator[str]:
    """Yield the kinds of the rules that decided before anything was chosen."""
    if weighed.weighing.untried:
        yield "try_before_training"
    if weighed.laid is not None:
        if weighed.laid.problem.limits.needs_practice:
            yield "practice_step"
        for barred in weighed.laid.barred:
            if barred.reason in _KEPT_OUT:
                yield _KEPT_OUT[barred.reason]


def _lost(laid: Laid, choice: Choice, graph: Graph) -> Iterator[TraceNode]:
    """Yield every drill that is not in the session: the first reason, and its worth alone.

    `outscored` by a named drill means that this one always does as well; by none, that the best
    session has no place for it.
    """
    taken = {laid.offered[n].drill for n in choice.chosen}
    found = {b.drill: (f"{b.reason} {b.detail}".strip(), b.worth) for b in laid.barred}
    for offered in laid.offered:
        found[offered.drill] = (
            "outscored",
            max(offered.worth, found.get(offered.drill, ("", 0))[1]),
        )
    for drill, (detail, worth) in sorted(found.items()):
        if drill not in taken:
            yield _node(
                "left_out",
                drill,
                worth / MICRO,
                "value",
                detail=detail,
                sources=graph.drills[drill].sources,
            )
