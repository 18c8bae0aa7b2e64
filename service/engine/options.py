"""From a client and the weights of causes to the problem of choosing a session.

Apart from the search because here drills, kit, levels and rules have names: every drill either
becomes an option or is barred for one reason.
"""

from collections.abc import Mapping

from msgspec import Struct

from service.engine.bars import held_back
from service.engine.exchange import conflicts, dominators, returns, wants
from service.engine.frame import RANKS, Closure, Frame, Wanted, ends, frame_of
from service.engine.sides import sides_of, weaker_side
from service.model.answer import SideDose
from service.model.choice import Limits, Option, Problem
from service.model.graph import DoseOffer, DrillOffer, Graph
from service.model.knowledge import DrillRecord
from service.model.quantities import MICRO, LeftOutReason, Side
from service.model.screen import Screen

__all__ = ["Barred", "Closure", "Laid", "Offered", "Wanted", "lay"]

FROM = "from_"
"""Numbers of the step limit are named by the minutes they hold from: `from_10`."""


class Barred(Struct, frozen=True, kw_only=True):
    """A drill that is no option, with the first reason that holds.

    `detail` is an id or ids joined by ", ": the caution, the missing kit, the level it asks for,
    the rule, the seconds of its shortest dose, or (`outscored`) the drill that always does as
    well, empty where it would not even earn the price of a step. `worth` is what its full dose
    would add alone, in millionths, without the price of a step.
    """

    drill: str
    reason: LeftOutReason
    detail: str
    worth: int


class Offered(Struct, frozen=True, kw_only=True):
    """What an option of the problem is: drill and dose, the kit to use, the sets by side."""

    drill: str
    dose: DoseOffer
    short: bool
    kit: tuple[str, ...]
    sides: tuple[SideDose, ...]
    worth: int
    """As for a barred drill."""


class Laid(Struct, frozen=True, kw_only=True):
    """The problem, what each of its options is (same order), and the drills that are none."""

    problem: Problem
    offered: tuple[Offered, ...]
    barred: tuple[Barred, ...]
    """By drill id."""


def lay(graph: Graph, screen: Screen, closed: Mapping[str, Closure], wanted: Wanted) -> Laid:
    """Return the problem of today's session, and every drill that is kept out of it.

    Options are in order of drill, full dose before short. Reasons are tried in the order
    caution, pain, asked, setting, level, kit, rule, minutes, outscored; a drill that serves
    nothing that was found is outscored, however long it is.

    Two kinds of options are left out, both without changing the optimum. (1) Those of no pattern
    that alone do not earn the price of a step: returns are concave, so in any session they add
    less still, no other step needs them, and without them it would be worth more. (2) Those that
    another option could always replace where the two exclude each other (same drill, same
    ladder, or two range drills that may not meet): whatever session holds the one cannot hold
    the other, and after the exchange it keeps every limit (no more seconds, holds, new drills or
    helpers to follow) and has more value, or as much and a smaller key. There is no other cut:
    the optimum over the options is the optimum over the pack, however many there are.

    The verdict `practise` admits practice of the target only. Otherwise, where lacking skill
    carries enough of the weight, a session must hold practice. That demand looks at who the
    client is and not at minutes, kit or cautions: if it gave way where these are tight, then
    more minutes could lower the value.
    """
    frame = frame_of(graph, screen, wanted)
    options: list[Option] = []
    offered: list[Offered] = []
    barred: list[Barred] = []
    for place in graph.offers:
        drill = graph.drills[place.drill]
        worth = _worth(frame, drill, place.full[frame.level], 1.0)
        reason = held_back(frame, drill, closed.get(drill.id))
        if reason is None:
            reason = (
                _lay_one(frame, place, drill, worth, options, offered)
                if worth or place.pattern >= 0
                else ("outscored", "")
            )
        if reason is not None:
            barred.append(Barred(drill=drill.id, reason=reason[0], detail=reason[1], worth=worth))
    return _prune(frame, options, offered, barred)


def _lay_one(
    frame: Frame,
    place: DrillOffer,
    drill: DrillRecord,
    worth: int,
    options: list[Option],
    offered: list[Offered],
) -> tuple[LeftOutReason, str] | None:
    """Add the drill in each dose that fits and may be chosen, or return why there is none.

    `worth` is that of the full dose.
    """
    weaker = weaker_side(frame.graph, drill, frame.wanted.lean, frame.balance)
    extra = frame.extra_sets if weaker != "none" else 0
    shortest, found, part = 0, False, 1.0
    for short, doses in ((False, place.full), (True, place.short)):
        dose = doses.get(frame.level)
        if dose is None:
            continue
        holds = dose.extra_holds if extra else dose.holds
        if holds and max([held for _, held in holds]) > frame.hold_s:
            continue
        shortest = dose.seconds + extra * dose.extra_set_s
        if shortest > frame.seconds:
            continue
        if short:
            part = _short_effect(frame, drill)
            worth = _worth(frame, drill, dose, part)
        if place.pattern < 0 and not _earns(frame, dose, worth):
            continue
        found = True
        options.append(_option(frame, place, drill, dose, short, shortest, part, holds))
        offered.append(_offered(frame, drill, dose, short, weaker, worth))
    if found:
        return None
    if not shortest:
        return "rule", frame.rules["static_hold_limit"].id
    return ("minutes", str(shortest)) if shortest > frame.seconds else ("outscored", "")


def _short_effect(frame: Frame, drill: DrillRecord) -> float:
    record = frame.graph.doses[drill.dose]
    rows = {"new": record.new, "regular": record.regular, "advanced": record.advanced}
    return rows[frame.level].short_effect


def _worth(frame: Frame, drill: DrillRecord, dose: DoseOffer, part: float) -> int:
    """Return what the dose would add alone; `part` is what a short dose keeps of the carry-over."""
    total = _bonus(frame, drill, part) if drill.carries_to else 0
    weights = frame.weights
    for i, effect in dose.effects:
        if weights[i]:
            total += weights[i] * returns(frame.graph.curve, effect) // MICRO
    return total


def _bonus(frame: Frame, drill: DrillRecord, part: float) -> int:
    carry = drill.carries_to.get(frame.target, 0.0)
    return round(carry * frame.graph.decision.carry_weight * part * MICRO) if carry else 0


def _earns(frame: Frame, dose: DoseOffer, worth: int) -> bool:
    """Say if the dose alone may be worth its step, whatever rounding hides."""
    hidden = sum([frame.loss[i] for i, _ in dose.effects if frame.weights[i]])
    return worth + hidden >= frame.price


def _option(
    frame: Frame,
    place: DrillOffer,
    drill: DrillRecord,
    dose: DoseOffer,
    short: bool,
    seconds: int,
    part: float,
    holds: tuple[tuple[int, int], ...],
) -> Option:
    weights = frame.weights
    return Option(
        drill=place.index,
        dose=1 if short else 0,
        aim=drill.aim,
        seconds=seconds,
        effects=tuple([(i, effect) for i, effect in dose.effects if weights[i] > 0]),
        bonus=_bonus(frame, drill, part),
        ladder=place.ladder,
        region=place.region,
        pattern=place.pattern,
        helper=drill.helper is not None,
        is_new=drill.id not in frame.recent,
        holds=holds,
    )


def _offered(
    frame: Frame, drill: DrillRecord, dose: DoseOffer, short: bool, weaker: Side, worth: int
) -> Offered:
    return Offered(
        drill=drill.id,
        dose=dose,
        short=short,
        kit=next(tuple(way) for way in drill.kit if frame.kit.issuperset(way)),
        sides=sides_of(drill, dose.sets, frame.extra_sets, weaker),
        worth=worth,
    )


def _limits(frame: Frame) -> Limits:
    graph, minutes = frame.graph, frame.screen.minutes
    steps = frame.rules["step_limit"].numbers
    ranges = frame.rules["range_limit"].numbers
    later = minutes >= ranges["later_from_minutes"]
    new_drills = frame.rules["new_drill_limit"].numbers["most"]
    return Limits(
        seconds=frame.seconds,
        steps=max(
            [most for name, most in steps.items() if minutes >= int(name.removeprefix(FROM))],
            default=0,
        ),
        new_drills=new_drills if frame.screen.client.level == "new" else len(graph.offers),
        range_drills=ranges["most_later"] if later else ranges["most"],
        hold_s=frame.hold_s,
        ends_in=frozenset(
            [
                place.pattern
                for place in graph.offers
                if place.pattern >= 0 and ends(graph.drills[place.drill], frame.target)
            ]
        ),
        needs_practice=_needs_practice(frame),
    )


def _needs_practice(frame: Frame) -> bool:
    """Say if lacking skill weighs enough, and there is plain practice for such a client."""
    graph, wanted = frame.graph, frame.wanted
    if wanted.verdict == "practise":
        return False
    causes = graph.causes.values()
    skill = sum([w for w, c in zip(frame.weights, causes, strict=True) if c.mode == "skill"])
    if skill < round(graph.decision.practice_step_from * MICRO):
        return False
    return any(
        drill.aim == "practice"
        and drill.helper is None
        and () in drill.kit
        and ends(drill, frame.target)
        and RANKS[drill.level] <= frame.rank
        and (drill.remote or frame.screen.setting != "remote")
        and drill.id not in frame.avoid
        for drill in graph.drills.values()
    )


def _prune(
    frame: Frame,
    options: list[Option],
    offered: list[Offered],
    barred: list[Barred],
) -> Laid:
    """Return the problem without the options that an exclusive other could always replace."""
    limits = _limits(frame)
    mask, _ = conflicts(options, limits)
    bits = [wants(option, limits) for option in options]
    better = dominators(options, mask, [b[0] for b in bits], [b[1] for b in bits], within=mask)
    keep = [c for c in range(len(options)) if not better[c]]
    stay = {offered[c].drill for c in keep}
    gone: dict[str, Barred] = {}
    for c, one in enumerate(offered):
        if one.drill not in stay and one.drill not in gone:
            by = offered[(better[c] & -better[c]).bit_length() - 1].drill
            gone[one.drill] = Barred(
                drill=one.drill, reason="outscored", detail=by, worth=one.worth
            )
    problem = Problem(
        options=tuple([options[c] for c in keep]),
        weights=frame.weights,
        curve=frame.graph.curve,
        price=frame.price,
        limits=limits,
    )
    return Laid(
        problem=problem,
        offered=tuple([offered[c] for c in keep]),
        barred=tuple(sorted([*barred, *gone.values()], key=lambda b: b.drill)),
    )
