"""Today's session in words: each chosen drill with its dose and its reasons, and what was left.

Apart from the choice because the choice is numbers only, and from the causes' reasons because
these rest on rules, kit and minutes as well.
"""

from collections.abc import Iterator, Mapping

import msgspec
from msgspec import Struct

from service.engine.options import Laid, Offered
from service.engine.reasons import NOTHING, Facts
from service.engine.words import Words
from service.model.answer import (
    Because,
    CauseAnswer,
    LeftOut,
    Rung,
    Session,
    Step,
    Tempo,
)
from service.model.choice import Choice, Option
from service.model.graph import Graph
from service.model.knowledge import DrillRecord, RuleRecord
from service.model.quantities import MICRO, LeftOutReason
from service.model.screen import Screen

EVIDENCE = 2
"""How many pieces of evidence a step repeats from the cause it serves most."""
REASONS: tuple[LeftOutReason, ...] = (
    "caution",
    "pain",
    "asked",
    "setting",
    "level",
    "kit",
    "rule",
    "minutes",
    "outscored",
)


class Chosen(Struct, frozen=True, kw_only=True, gc=False):
    """One option of the session with its drill."""

    option: Option
    offered: Offered
    drill: DrillRecord


def session_of(
    facts: Facts,
    screen: Screen,
    laid: Laid,
    choice: Choice,
    causes: tuple[CauseAnswer, ...],
    words: Words,
) -> Session | None:
    """Return the ordered steps, or None where nothing was chosen."""
    if not choice.chosen:
        return None
    chosen = [
        Chosen(
            option=laid.problem.options[n],
            offered=laid.offer(n),
            drill=facts.graph.drills[laid.held[n].row.drill.id],
        )
        for n in choice.chosen
    ]
    return Session(
        minutes=round(choice.seconds / 60, 1),
        value=choice.value / MICRO,
        steps=tuple(_step(facts, screen, one, chosen, causes, words) for one in chosen),
    )


def _step(
    facts: Facts,
    screen: Screen,
    one: Chosen,
    chosen: list[Chosen],
    causes: tuple[CauseAnswer, ...],
    words: Words,
) -> Step:
    graph, drill, dose = facts.graph, one.drill, one.offered.dose
    place = graph.offers[one.option.drill]
    moving = drill.lower_s + drill.pause_s + drill.lift_s > 0
    in_room = screen.setting == "in_person" and drill.touch_cue
    return Step(
        drill=drill.id,
        name=drill.name,
        aim=drill.aim,
        kit=one.offered.kit,
        sides=one.offered.sides,
        reps=dose.reps,
        tempo=Tempo(lower_s=drill.lower_s, pause_s=drill.pause_s, lift_s=drill.lift_s)
        if moving
        else None,
        hold_s=dose.hold_s or None,
        effort=dose.effort,
        rest_s=dose.rest_s,
        seconds=one.option.seconds,
        times_a_week=graph.doses[drill.dose].times_a_week,
        cues=(drill.cue, drill.touch_cue) if in_room else (drill.cue,),
        good_looks_like=drill.good_looks_like,
        stop_when=drill.stop_when,
        easier=_rung(graph, place.easier),
        harder=_rung(graph, place.harder),
        because=tuple(_because(facts, one, chosen, causes, words)),
    )


def _rung(graph: Graph, drill: str | None) -> Rung | None:
    return Rung(drill=drill, name=graph.drills[drill].name) if drill else None


def _because(
    facts: Facts,
    one: Chosen,
    chosen: list[Chosen],
    causes: tuple[CauseAnswer, ...],
    words: Words,
) -> Iterator[Because]:
    """Yield why this drill: the causes it serves with their evidence, then what shaped it."""
    served = {t.cause: t for t in one.drill.trains}
    serving = [c for c in causes if c.cause in served and c.weight > 0]
    for cause in serving:
        yield _say(
            words,
            "serves",
            {
                "cause": words.name(cause.name),
                "side": words.side(cause.side),
                "weight": words.per_cent(cause.weight),
            },
            cause=cause.cause,
            side=cause.side,
            value=cause.weight,
            sources=one.drill.sources,
        )
    for cause in serving[:1]:
        yield from [b for b in cause.because if (b.moved or 0) > 0][:EVIDENCE]
    yield from _by_rule(facts, one, chosen, words, idle=not serving)
    helper = one.drill.helper
    if helper is not None and helper in facts.weighing.worked:
        name = words.name(facts.graph.changes[helper].name)
        yield _say(words, "worked_today", {"change": name}, change=helper)
    if one.offered.short:
        yield _rule(words, facts.graph, "short_dose", "short_dose")


def _by_rule(
    facts: Facts, one: Chosen, chosen: list[Chosen], words: Words, *, idle: bool
) -> Iterator[Because]:
    """Yield the rules that gave this step its place, its help and its sides.

    `idle` says that it serves no listed cause: then it stands here for the movement alone.
    """
    graph = facts.graph
    aims = [c.option.aim for c in chosen]
    last = one.drill.aim in ("transfer", "practice")
    if one.drill.aim == "range" and len(chosen) > 1:
        yield _rule(words, graph, "aim_order", "range_first")
    elif one.drill.aim == "control" and len(set(aims)) > 1:
        code = "control_next" if "range" in aims else "control_first"
        yield _rule(words, graph, "aim_order", code)
    elif last and (len(chosen) > 1 or idle):
        code = "ends_in_pattern" if one is chosen[-1] else "pattern_before_last"
        yield _rule(words, graph, "ends_in_pattern", code)
    pattern = [c for c in chosen if c.option.pattern == one.option.pattern >= 0]
    if one.option.helper:
        yield _rule(words, graph, "helper_then_plain", "helper_used")
    elif any(c.option.helper for c in pattern):
        yield _rule(words, graph, "helper_then_plain", "helper_away")
    sides = one.offered.sides
    if len(sides) == 2 and sides[0].sets > sides[1].sets:
        side = words.say(f"{sides[0].side}_side")
        yield _rule(words, graph, "weaker_side_first", "weaker_first", side=side)


def _rule(words: Words, graph: Graph, kind: str, code: str, **values: str) -> Because:
    rule = _rule_of(graph, kind)
    return _say(words, code, values, rule=rule.id, sources=rule.sources)


def _rule_of(graph: Graph, kind: str) -> RuleRecord:
    return next(rule for rule in graph.rules.values() if rule.kind == kind)


def _say(words: Words, code: str, values: Mapping[str, str], **fields: object) -> Because:
    return msgspec.structs.replace(NOTHING, code=code, text=words.say(code, **values), **fields)


def left_out_of(facts: Facts, laid: Laid, choice: Choice, words: Words) -> tuple[LeftOut, ...]:
    """Return for each reason the drill that would have added most, and how many it kept out.

    Drills that serve nothing that was found are not counted: nobody would have expected them.
    """
    taken = frozenset([laid.held[n].row.drill.id for n in choice.chosen])
    lost = laid.lost(taken)
    found = []
    for reason in REASONS:
        best = lost.get(reason)
        if best is None:
            continue
        found.append(
            LeftOut(
                drill=best.drill,
                name=facts.graph.drills[best.drill].name,
                reason=reason,
                detail=words.say(f"left_{reason}", by=_by(facts.graph, reason, best.detail, words)),
                count=best.count,
            )
        )
    return tuple(found)


def _by(graph: Graph, reason: LeftOutReason, detail: str, words: Words) -> str:
    """Return what a reason's detail is called: a caution, kit, a rule's sentence, a level."""
    if reason in ("caution", "pain"):
        return words.name(graph.cautions[detail].name)
    if reason == "kit":
        return ", ".join(words.name(graph.kit[one].name) for one in detail.split(", "))
    if reason == "rule" and detail in graph.rules:
        return graph.rules[detail].say
    if reason == "level":
        return words.say(f"level_{detail}")
    return detail
