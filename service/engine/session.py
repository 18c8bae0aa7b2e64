"""Today's session in words: each chosen drill with its dose and its reasons, and what was left.

Apart from the choice because the choice is numbers only, and from the causes' reasons because
these rest on rules, kit and minutes as well.
"""

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
from service.model.graph import DrillOffer, Graph
from service.model.knowledge import DrillRecord
from service.model.quantities import MICRO, LeftOutReason, Side
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


class Exercise:
    """What the pack says of a drill: it as a step, before its dose and its reasons."""

    def __init__(self, graph: Graph, drill: DrillRecord, place: DrillOffer, in_room: bool) -> None:
        moving = drill.lower_s + drill.pause_s + drill.lift_s > 0
        self.aim = drill.aim
        self.helper = drill.helper
        self.served = frozenset([t.cause for t in drill.trains])
        self.sources = drill.sources
        self.step = Step(
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


def _rung(graph: Graph, drill: str | None) -> Rung | None:
    return Rung(drill=drill, name=graph.drills[drill].name) if drill else None


def _none_made(_graph: Graph) -> dict[tuple[int, bool], Exercise]:
    return {}


_EXERCISES = Keeper(_none_made)


class Chosen:
    """One option of the session with its drill, and the dose that is offered."""

    def __init__(self, exercise: Exercise, option: Option, offered: Offered) -> None:
        self.exercise = exercise
        self.offered = offered
        self.aim = exercise.aim
        self.seconds = option.seconds
        self.pattern = option.pattern
        self.helper = option.helper


class Serving:
    """A cause that weighs: what is said of a step that serves it, made when it is said."""

    def __init__(self, cause: CauseAnswer) -> None:
        self.id = cause.cause
        self._cause = cause
        self._serves: Because | None = None

    def serves(self, sources: tuple[str, ...], words: Words) -> Because:
        """Return that a drill with these sources serves the cause."""
        serves = self._serves
        if serves is None:
            serves = self._serves = _serves(self._cause, words)
        return replace(serves, sources=sources)

    def evidence(self) -> list[Because]:
        """Return the first pieces of evidence for the cause."""
        found = []
        for because in self._cause.because:
            moved = because.moved
            if moved is not None and moved > 0:
                found.append(because)
                if len(found) == EVIDENCE:
                    break
        return found


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
    options, in_room = laid.problem.options, screen.setting == "in_person"
    chosen = []
    for n in choice.chosen:
        option = options[n]
        exercise = _exercise(facts.graph, option.drill, in_room)
        chosen.append(Chosen(exercise, option, laid.offer(n)))
    serving = [Serving(cause) for cause in causes if cause.weight > 0]
    return Session(
        minutes=round(choice.seconds / 60, 1),
        value=choice.value / MICRO,
        steps=tuple([_step(facts, one, chosen, serving, words) for one in chosen]),
    )


def _exercise(graph: Graph, drill: int, in_room: bool) -> Exercise:
    """Return what the pack says of a drill, made once; by touch only in the room."""
    known = _EXERCISES.of(graph)
    exercise = known.get((drill, in_room))
    if exercise is None:
        place = graph.offers[drill]
        exercise = Exercise(graph, graph.drills[place.drill], place, in_room)
        known[drill, in_room] = exercise
    return exercise


def _step(
    facts: Facts, one: Chosen, chosen: list[Chosen], serving: list[Serving], words: Words
) -> Step:
    offered = one.offered
    dose = offered.dose
    return replace(
        one.exercise.step,
        kit=offered.kit,
        sides=offered.sides,
        reps=dose.reps,
        hold_s=dose.hold_s or None,
        effort=dose.effort,
        rest_s=dose.rest_s,
        seconds=one.seconds,
        because=tuple(_because(facts, one, chosen, serving, words)),
    )


def _because(
    facts: Facts, one: Chosen, chosen: list[Chosen], serving: list[Serving], words: Words
) -> list[Because]:
    """Return why this drill: the causes it serves with their evidence, then what shaped it."""
    graph, exercise = facts.graph, one.exercise
    served = exercise.served
    own = [cause for cause in serving if cause.id in served]
    found = [cause.serves(exercise.sources, words) for cause in own]
    if own:
        found += own[0].evidence()
    found += _by_rule(graph, one, chosen, words, idle=not own)
    helper = exercise.helper
    if helper is not None and helper in facts.weighing.worked:
        text = words.say("worked_today", change=words.change(helper))
        found.append(replace(NOTHING, code="worked_today", text=text, change=helper))
    if one.offered.short:
        found.append(_rule(words, graph, "short_dose", "short_dose"))
    return found


def _serves(cause: CauseAnswer, words: Words) -> Because:
    """Return that a step serves the cause, before the sources of its drill."""
    weight, side = cause.weight, cause.side
    percent = round(weight * 100)
    made_of = ("serves", cause.cause, side, percent)
    text = words.kept.get(made_of)
    if text is None:
        name = words.cause(cause.cause)
        said = words.say("serves", cause=name, side=words.side(side), weight=f"{percent} %")
        text = words.kept.keep(made_of, said)
    return replace(NOTHING, code="serves", text=text, cause=cause.cause, side=side, value=weight)


def _by_rule(
    graph: Graph, one: Chosen, chosen: list[Chosen], words: Words, *, idle: bool
) -> list[Because]:
    """Return the rules that gave this step its place, its help and its sides.

    `idle` says that it serves no listed cause: then it stands here for the movement alone.
    """
    aim, many, pattern = one.aim, len(chosen) > 1, one.pattern
    found = []
    if aim == "range" and many:
        found.append(_rule(words, graph, "aim_order", "range_first"))
    elif aim == "control" and len(aims := {c.aim for c in chosen}) > 1:
        code = "control_next" if "range" in aims else "control_first"
        found.append(_rule(words, graph, "aim_order", code))
    elif aim in ("transfer", "practice") and (many or idle):
        code = "ends_in_pattern" if one is chosen[-1] else "pattern_before_last"
        found.append(_rule(words, graph, "ends_in_pattern", code))
    if one.helper:
        found.append(_rule(words, graph, "helper_then_plain", "helper_used"))
    elif pattern >= 0 and [True for c in chosen if c.helper and c.pattern == pattern]:
        found.append(_rule(words, graph, "helper_then_plain", "helper_away"))
    sides = one.offered.sides
    if len(sides) == 2:
        first = sides[0]
        if first.sets > sides[1].sets:
            found.append(_rule(words, graph, "weaker_side_first", "weaker_first", first.side))
    return found


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
