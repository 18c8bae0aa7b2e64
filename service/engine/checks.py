"""What to check next: each check by what it is expected to be worth to the plan.

The expectation is exact: every outcome is read, weighed and planned like any other screen, and
weighed by its probability under the same model. Nothing is sampled.
"""

import math

import msgspec

from service.engine.contradict import disputed
from service.engine.decide import Decided, decide, first_drill, worth_of
from service.engine.infer import infer
from service.engine.outcomes import Check, Outcome, checks_of
from service.engine.read import read
from service.engine.reasons import Facts, leading_cause
from service.engine.weigh import belief
from service.engine.words import Words
from service.model.answer import CheckOutcome, NextCheck, SideOutcome
from service.model.graph import Graph
from service.model.network import ANY, LEFT, RIGHT, Posterior
from service.model.quantities import MICRO
from service.model.records import Frozen

MOST = 5
"""How many checks are named: the trainer has minutes."""
DIGITS = 9


class Possible(Frozen, frozen=True, kw_only=True):
    """One outcome, decided: its probability, and what it would add in millionths."""

    outcome: Outcome
    decided: Decided
    probability: float
    gain: int


class Scored(Frozen, frozen=True, kw_only=True):
    """A check with its expected gain (unit of value), and bits on the cause it tells most about."""

    check: Check
    possible: tuple[Possible, ...]
    gain: float
    bits: float
    tells: tuple[int, int] | None

    @property
    def per_minute(self) -> tuple[float, float]:
        """Gain and bits a minute, set-up included."""
        minutes = self.check.seconds / 60
        return round(self.gain / minutes, DIGITS), round(self.bits / minutes, DIGITS)


def scored_checks(now: Decided, graph: Graph) -> tuple[Scored, ...]:
    """Return the open checks of a decision that tell most, best first; none where it refers.

    All are compared by bits a minute; those that tell most, as many as the pack's
    `checks_planned`, are planned through: every outcome is decided like any other screen.
    gain = sum over outcomes o of P(o) max(0, V(best session under o) - V(today's session under
    o)). It is 0 where a rule of the verdict under o asks for less than today's session gives:
    a look that changes nothing for the better is worth nothing. Ties by bits, then by name.
    """
    target = now.reading.target or (graph.targets[0] if graph.targets else None)
    if now.weighed is None or target is None:
        return ()
    # what is looked at next does not change what the session is for
    settled = now
    if now.screen.target != target:
        settled = decide(msgspec.structs.replace(now.screen, target=target), graph)
    if settled.weighed is None:
        return ()
    found = [score(check, settled, graph) for check in _most_telling(settled, graph)]
    return tuple(sorted(found, key=lambda s: (*(-x for x in s.per_minute), s.check.key)))


def _most_telling(now: Decided, graph: Graph) -> list[Check]:
    """Return the checks that tell most in a minute, with the best on a cause in dispute.

    Compared are those that matter most for the target, as many as `checks_compared`, and fewer of
    a screen with so many sightings that weighing it again each time would take too long.
    """
    weights = graph.weights[now.reading.target or graph.targets[0]]
    relevant = sorted(checks_of(now, graph), key=lambda c: (-_relevance(c, weights, graph), c.key))
    decision = graph.decision
    fit = max(1, decision.checks_work // max(1, len(now.reading.evidence.sightings)))
    compared = relevant[: min(decision.checks_compared, fit)]
    glances = [(check, *glance(check, now, graph)) for check in compared]
    glances.sort(key=lambda g: (-g[1], g[0].key))
    chosen = glances[: min(decision.checks_planned, fit // 2 + 1)]
    in_dispute = disputed(now, graph)
    settling = [g for g in glances if g[2] in in_dispute][:1]
    return [check for check, *_ in (*chosen, *(g for g in settling if g not in chosen))]


def _relevance(check: Check, weights: tuple[float, ...], graph: Graph) -> float:
    """Return how much what is looked at matters for the target; a change or a number always."""
    if check.change is not None or check.measure is not None:
        return 1.0
    sides = ("left", "right", "none")
    keys = [(check.movement or "", check.finding or "", side) for side in sides]
    return max(weights[graph.event_of[key]] for key in keys if key in graph.event_of)


def glance(check: Check, now: Decided, graph: Graph) -> tuple[float, tuple[int, int] | None]:
    """Return the bits a minute of a check and what it tells of, without planning its outcomes."""
    if now.weighed is None:
        raise AssertionError("nothing is checked where the plan refers")
    before = now.weighed.posterior
    after = [infer(graph.network, read(o.screen, graph).evidence) for o in check.outcomes]
    probabilities = _probabilities(check, before, after)
    bits, tells = _information(probabilities, before, after, graph)
    return round(bits * 60 / check.seconds, DIGITS), tells


def _probabilities(check: Check, before: Posterior, after: list[Posterior]) -> list[float]:
    """Return the probability of each outcome under the model, given what is known now."""
    parts = [
        math.exp(p.log_evidence - before.log_evidence + o.log_factor)
        for p, o in zip(after, check.outcomes, strict=True)
    ]
    total = math.fsum(parts)
    return [part / total for part in parts]


def score(check: Check, now: Decided, graph: Graph) -> Scored:
    """Return what a check is expected to be worth."""
    if now.weighed is None:
        raise AssertionError("nothing is checked where the plan refers")
    before = now.weighed.posterior
    decided = [decide(outcome.screen, graph) for outcome in check.outcomes]
    # where an outcome refers its evidence counts all the same
    after = [
        d.weighed.posterior if d.weighed else infer(graph.network, d.reading.evidence)
        for d in decided
    ]
    possible = tuple(
        Possible(
            outcome=outcome,
            decided=then,
            probability=probability,
            gain=max(0, then.value - worth_of(now, then, graph)),
        )
        for outcome, then, probability in zip(
            check.outcomes, decided, _probabilities(check, before, after), strict=True
        )
    )
    gain = math.fsum(p.probability * p.gain for p in possible) / MICRO
    bits, tells = _information([p.probability for p in possible], before, after, graph)
    return Scored(check=check, possible=possible, gain=gain, bits=bits, tells=tells)


def _information(
    probabilities: list[float], before: Posterior, after: list[Posterior], graph: Graph
) -> tuple[float, tuple[int, int] | None]:
    """Return the expected bits on the cause and side that the check tells most about."""
    best, told = 0.0, None
    for variable, sided in enumerate(v.sided for v in graph.network.variables):
        rows = [p.states[variable] for p in after]
        if all(row == before.states[variable] for row in rows):
            continue
        for mask in (LEFT, RIGHT) if sided else (ANY,):
            now = belief(before.states[variable], mask)
            bits = math.fsum(
                p * _divergence(belief(row, mask), now)
                for p, row in zip(probabilities, rows, strict=True)
            )
            if round(bits, DIGITS) > round(best, DIGITS):
                best, told = bits, (variable, mask)
    return best, told


def _divergence(after: float, before: float) -> float:
    """Return the bits between two beliefs (Kullback and Leibler, 1951)."""
    total = 0.0
    for p, q in ((after, before), (1 - after, 1 - before)):
        if p > 0 and q > 0:
            total += p * math.log2(p / q)
    return total


# --- in words --------------------------------------------------------------------------------


def next_checks(now: Decided, graph: Graph, words: Words) -> tuple[NextCheck, ...]:
    """Return the open checks of a decision that are worth their time, in words."""
    return worth_saying(now, scored_checks(now, graph), graph, words)


def worth_saying(
    now: Decided, scored: tuple[Scored, ...], graph: Graph, words: Words
) -> tuple[NextCheck, ...]:
    """Return the checks that are worth their time, best first, at most five.

    Checks that bear on a cause in dispute come first. Where the verdict is `unsure` and none is
    worth its time, the one that tells most is named all the same.
    """
    in_dispute = disputed(now, graph)
    worth = [s for s in scored if s.gain >= graph.decision.least_gain]
    settling = [s for s in scored if s.tells in in_dispute and s.bits > 0]
    settling = sorted(settling, key=lambda s: (-s.per_minute[1], s.check.key))[:1]
    chosen = [*settling, *(s for s in worth if s not in settling)][:MOST]
    if not chosen and now.verdict == "unsure":
        chosen = sorted(scored, key=lambda s: (-s.per_minute[1], s.check.key))[:1]
    return tuple(_say(s, s.tells in in_dispute, graph, words) for s in chosen)


def _say(scored: Scored, settles: bool, graph: Graph, words: Words) -> NextCheck:
    check = scored.check
    gain, bits = scored.per_minute
    return NextCheck(
        text=_text(check, graph, words),
        movement=check.movement,  # type: ignore[arg-type]
        view=check.view,
        finding=check.finding,  # type: ignore[arg-type]
        side=check.side,
        change=check.change,  # type: ignore[arg-type]
        measure=check.measure,  # type: ignore[arg-type]
        method=check.method,
        kit=check.kit,
        seconds=check.seconds,
        gain=round(scored.gain, 6),
        bits=round(scored.bits, 6),
        gain_per_minute=round(gain, 6),
        bits_per_minute=round(bits, 6),
        tells=graph.network.variables[scored.tells[0]].id if scored.tells else None,
        settles=settles,
        outcomes=tuple(_outcome(p, check, graph, words) for p in scored.possible),
    )


def _text(check: Check, graph: Graph, words: Words) -> str:
    movement = words.name(graph.movements[check.movement].name) if check.movement else ""
    if check.change is not None:
        change = graph.changes[check.change]
        return words.say(
            "look_change", movement=movement, change=words.name(change.name), how=change.how
        )
    if check.measure is not None:
        record = graph.measures[check.measure]
        method = next(m for m in record.methods if m.id == check.method)
        name = f"{words.name(record.name)}{words.side(check.side or 'none')}"
        return words.say("look_measure", measure=name, how=method.how)
    finding = words.name(graph.findings[check.finding or ""].name)
    view = words.say(f"view_{check.view}")
    return words.say("look_finding", movement=movement, view=view, finding=finding)


def _outcome(possible: Possible, check: Check, graph: Graph, words: Words) -> CheckOutcome:
    then = possible.decided
    cause = None
    if then.weighed is not None:
        facts = Facts(
            graph=graph,
            reading=then.reading,
            posterior=then.weighed.posterior,
            weighing=then.weighed.weighing,
        )
        cause = leading_cause(facts)
    step = first_drill(then)
    told = ", ".join(_told(side, check, graph, words) for side in possible.outcome.sides)
    lead = (
        words.say("lead", cause=words.cause(cause[0]), side=words.side(cause[1]))
        if cause
        else words.say("check_no_cause")
    )
    start = graph.drills[step].name if step else words.say("check_no_step")
    return CheckOutcome(
        text=words.say(
            "check_outcome",
            told=told,
            percent=words.per_cent(possible.probability),
            verdict=words.say(f"verdict_{then.verdict}"),
            lead=lead,
            start=start,
        ),
        sides=possible.outcome.sides,
        probability=round(possible.probability, 6),
        verdict=then.verdict,
        cause=cause[0] if cause else None,
        cause_side=cause[1] if cause else None,
        first_step=step,
        value=then.value / MICRO,
        gain=possible.gain / MICRO,
    )


def _told(side: SideOutcome, check: Check, graph: Graph, words: Words) -> str:
    where = words.side(side.side)
    if side.result is not None:
        return words.say(f"check_{side.result}", side=where)
    if side.grade is not None:
        return words.say("check_grade", grade=words.say(f"grade_{side.grade}"), side=where)
    unit = words.unit(graph.measures[check.measure or ""].unit)
    low, high = side.at_least, side.below
    if low is None:
        return words.say("check_below", high=words.number(high or 0.0), unit=unit)
    if high is None:
        return words.say("check_from", low=words.number(low), unit=unit)
    return words.say("check_between", low=words.number(low), high=words.number(high), unit=unit)
