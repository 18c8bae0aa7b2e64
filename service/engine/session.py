"""Today's session in words: each chosen drill with its dose and its reasons, and what was left.

Apart from the choice because the choice is numbers only, and from the causes' reasons because
these rest on rules, kit and minutes as well.
"""

from collections.abc import Iterator

from msgspec.structs import replace

from service.engine.because import NOTHING
from service.engine.kept import Keeper
from service.engine.options import Laid, Offered
from service.engine.reasons import Facts
from service.engine.rules import rule_of
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
from service.model.knowledge import DrillRecord
from service.model.quantities import MICRO, LeftOutReason, Side
from service.model.records import Leaf
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


class Chosen(Leaf, frozen=True, kw_only=True):
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
    dose = one.offered.dose
    in_room = screen.setting == "in_person" and bool(one.drill.touch_cue)
    return replace(
        _undosed(facts.graph, one, in_room),
        kit=one.offered.kit,
        sides=one.offered.sides,
        reps=dose.reps,
        hold_s=dose.hold_s or None,
        effort=dose.effort,
        rest_s=dose.rest_s,
        seconds=one.option.seconds,
        because=tuple(_because(facts, one, chosen, causes, words)),
    )


def _undosed(graph: Graph, one: Chosen, in_room: bool) -> Step:
    """Return what the pack says of a drill, before its dose and its reasons, made once."""
    known = _UNDOSED.of(graph)
    step = known.get((one.drill.id, in_room))
    if step is None:
        step = known[one.drill.id, in_room] = _step_of(graph, one, in_room)
    return step


def _step_of(graph: Graph, one: Chosen, in_room: bool) -> Step:
    drill, place = one.drill, graph.offers[one.option.drill]
    moving = drill.lower_s + drill.pause_s + drill.lift_s > 0
    return Step(
        drill=drill.id,
        name=drill.name,
        aim=drill.aim,
        kit=(),
        sides=(),
        reps=None,
        tempo=Tempo(lower_s=drill.lower_s, pause_s=drill.pause_s, lift_s=drill.lift_s)
        if moving
        else None,
        hold_s=None,
        effort=0,
        rest_s=0,
        seconds=0,
        times_a_week=graph.doses[drill.dose].times_a_week,
        cues=(drill.cue, drill.touch_cue) if in_room and drill.touch_cue else (drill.cue,),
        good_looks_like=drill.good_looks_like,
        stop_when=drill.stop_when,
        easier=_rung(graph, place.easier),
        harder=_rung(graph, place.harder),
        because=(),
    )


def _none_made(_graph: Graph) -> dict[tuple[str, bool], Step]:
    return {}


_UNDOSED = Keeper(_none_made)


def _rung(graph: Graph, drill: str | None) -> Rung | None:
    return Rung(drill=drill, name=graph.drills[drill].name) if drill else None


def _because(
    facts: Facts,
    one: Chosen,
    chosen: list[Chosen],
    causes: tuple[CauseAnswer, ...],
    words: Words,
) -> list[Because]:
    """Return why this drill: the causes it serves with their evidence, then what shaped it."""
    served = {t.cause for t in one.drill.trains}
    serving = [c for c in causes if c.cause in served and c.weight > 0]
    found = [_serves(cause, one.drill.sources, words) for cause in serving]
    if serving:
        found += [b for b in serving[0].because if b.moved and b.moved > 0][:EVIDENCE]
    found += _by_rule(facts, one, chosen, words, idle=not serving)
    helper = one.drill.helper
    if helper is not None and helper in facts.weighing.worked:
        text = words.say("worked_today", change=words.name(facts.graph.changes[helper].name))
        found.append(replace(NOTHING, code="worked_today", text=text, change=helper))
    if one.offered.short:
        found.append(_rule(words, facts.graph, "short_dose", "short_dose"))
    return found


def _serves(cause: CauseAnswer, sources: tuple[str, ...], words: Words) -> Because:
    weight = words.per_cent(cause.weight)
    made_of = ("serves", cause.cause, cause.side, weight)
    text = words.kept.get(made_of)
    if text is None:
        name, side = words.name(cause.name), words.side(cause.side)
        text = words.kept.keep(made_of, words.say("serves", cause=name, side=side, weight=weight))
    return replace(
        NOTHING,
        code="serves",
        text=text,
        cause=cause.cause,
        side=cause.side,
        value=cause.weight,
        sources=sources,
    )


def _by_rule(
    facts: Facts, one: Chosen, chosen: list[Chosen], words: Words, *, idle: bool
) -> Iterator[Because]:
    """Yield the rules that gave this step its place, its help and its sides.

    `idle` says that it serves no listed cause: then it stands here for the movement alone.
    """
    graph, aim, many = facts.graph, one.drill.aim, len(chosen) > 1
    if aim == "range" and many:
        yield _rule(words, graph, "aim_order", "range_first")
    elif aim == "control" and len(aims := {c.option.aim for c in chosen}) > 1:
        code = "control_next" if "range" in aims else "control_first"
        yield _rule(words, graph, "aim_order", code)
    elif aim in ("transfer", "practice") and (many or idle):
        code = "ends_in_pattern" if one is chosen[-1] else "pattern_before_last"
        yield _rule(words, graph, "ends_in_pattern", code)
    pattern = one.option.pattern
    if one.option.helper:
        yield _rule(words, graph, "helper_then_plain", "helper_used")
    elif pattern >= 0 and any(c.option.helper and c.option.pattern == pattern for c in chosen):
        yield _rule(words, graph, "helper_then_plain", "helper_away")
    sides = one.offered.sides
    if len(sides) == 2 and sides[0].sets > sides[1].sets:
        yield _rule(words, graph, "weaker_side_first", "weaker_first", sides[0].side)


def _rule(words: Words, graph: Graph, kind: str, code: str, side: Side | None = None) -> Because:
    """Return what a rule did, the same whatever the screen."""
    known = words.reasons.get((code, side))
    if known is None:
        rule = rule_of(graph, kind)
        text = words.say(code, side=words.plain(f"{side}_side")) if side else words.say(code)
        made = replace(NOTHING, code=code, text=text, rule=rule.id, sources=rule.sources)
        known = words.reasons.keep((code, side), made)
    return known


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
                detail=_detail(facts.graph, reason, best.detail, words),
                count=best.count,
            )
        )
    return tuple(found)


def _detail(graph: Graph, reason: LeftOutReason, detail: str, words: Words) -> str:
    made_of = ("left", reason, detail)
    text = words.kept.get(made_of)
    if text is None:
        said = words.say(f"left_{reason}", by=_by(graph, reason, detail, words))
        text = words.kept.keep(made_of, said)
    return text


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
