"""From a client and the weights of causes to the problem of choosing a session.

Apart from the search because here drills, kit, levels and rules have names: every drill either
becomes an option or is barred for one reason.
"""

from collections.abc import Mapping
from operator import attrgetter

from msgspec import Struct

from service.engine.bars import held_back
from service.engine.exchange import conflicts, dominators, wants
from service.engine.frame import Closure, Frame, Wanted, frame_of
from service.engine.shelf import Barred, Portion, Row
from service.engine.sides import sides_of, weaker_side
from service.model.answer import SideDose
from service.model.choice import Limits, Option, Problem
from service.model.graph import DoseOffer, Graph
from service.model.quantities import MICRO, Aim, LeftOutReason, Side
from service.model.screen import Screen

__all__ = ["Barred", "Closure", "Laid", "Offered", "Wanted", "lay"]

_EITHER: frozenset[Aim] = frozenset({"practice", "transfer"})
_ENDS_BY: dict[str, frozenset[Aim]] = {"train": frozenset({"transfer"})}
"""What a session may end in, by verdict: practice alone does not end one that trains."""


class Offered(Struct, frozen=True, kw_only=True, gc=False):
    """What an option of the problem is: drill and dose, the kit to use, the sets by side."""

    drill: str
    dose: DoseOffer
    short: bool
    kit: tuple[str, ...]
    sides: tuple[SideDose, ...]
    worth: int
    """As for a barred drill."""


class Laid(Struct, frozen=True, kw_only=True, gc=False):
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
    weights = frame.weights
    practising = wanted.verdict == "practise"
    apart = closed.keys() | frame.avoid
    if frame.remote:
        apart |= frame.shelf.in_room
    # written out, and with what can be worked out beforehand: this runs for every drill
    for view in frame.shelf.practising if practising else frame.shelf.training:
        worth = 0
        for i, part in view.parts:
            if weights[i]:
                worth += weights[i] * part // MICRO
        ready = view.ready
        if view.drill in apart or (ready is None and view.asks):
            reason = held_back(frame, view.row, closed.get(view.drill))
        elif ready is not None:
            barred.append(_with_worth(ready, worth) if worth else ready)
            continue
        else:
            reason = None
        if reason is None:
            if not worth and not view.patterned:
                barred.append(view.idle)
                continue
            reason = _lay_one(frame, view.row, worth, options, offered)
        if reason is not None:
            barred.append(Barred(drill=view.drill, reason=reason[0], detail=reason[1], worth=worth))
    return _prune(frame, options, offered, barred)


def _with_worth(barred: Barred, worth: int) -> Barred:
    return Barred(drill=barred.drill, reason=barred.reason, detail=barred.detail, worth=worth)


def _lay_one(
    frame: Frame,
    row: Row,
    worth: int,
    options: list[Option],
    offered: list[Offered],
) -> tuple[LeftOutReason, str] | None:
    """Add the drill in each dose that fits and may be chosen, or return why there is none.

    `worth` is that of the full dose.
    """
    weaker = weaker_side(frame, row.drill)
    extra = frame.extra_sets if weaker != "none" else 0
    shortest, found = 0, False
    for portion in row.portions:
        dose = portion.dose
        holds = dose.extra_holds if extra else dose.holds
        if holds and max([held for _, held in holds]) > frame.hold_s:
            continue
        shortest = dose.seconds + extra * dose.extra_set_s
        if shortest > frame.seconds:
            continue
        if portion.short:
            worth = _worth(frame, portion)
        if row.place.pattern < 0 and not _earns(frame, portion, worth):
            continue
        found = True
        options.append(_option(frame, row, portion, shortest, holds))
        offered.append(_offered(frame, row, portion, weaker, worth))
    if found:
        return None
    if not shortest:
        return "rule", frame.shelf.rules["static_hold_limit"].id
    return ("minutes", str(shortest)) if shortest > frame.seconds else ("outscored", "")


def _worth(frame: Frame, portion: Portion) -> int:
    """Return what the dose would add alone."""
    weights = frame.weights
    return sum([weights[i] * part // MICRO for i, part in portion.parts])


def _earns(frame: Frame, portion: Portion, worth: int) -> bool:
    """Say if the dose alone may be worth its step, whatever rounding hides."""
    hidden = sum([frame.loss[i] for i, _ in portion.parts if frame.weights[i]])
    return worth + hidden >= frame.shelf.price


def _option(
    frame: Frame,
    row: Row,
    portion: Portion,
    seconds: int,
    holds: tuple[tuple[int, int], ...],
) -> Option:
    place, drill, weights = row.place, row.drill, frame.weights
    return Option(
        drill=place.index,
        dose=1 if portion.short else 0,
        aim=drill.aim,
        seconds=seconds,
        effects=tuple([(i, effect) for i, effect in portion.effects if weights[i] > 0]),
        ladder=place.ladder,
        region=place.region,
        pattern=place.pattern,
        helper=drill.helper is not None,
        is_new=drill.id not in frame.recent,
        holds=holds,
    )


def _offered(frame: Frame, row: Row, portion: Portion, weaker: Side, worth: int) -> Offered:
    return Offered(
        drill=row.drill.id,
        dose=portion.dose,
        short=portion.short,
        kit=next(tuple(way) for way in row.drill.kit if frame.kit.issuperset(way)),
        sides=sides_of(row.drill, portion.dose.sets, frame.extra_sets, weaker),
        worth=worth,
    )


def _limits(frame: Frame) -> Limits:
    shelf, minutes = frame.shelf, frame.screen.minutes
    ranges = shelf.rules["range_limit"].numbers
    later = minutes >= ranges["later_from_minutes"]
    new_drills = shelf.rules["new_drill_limit"].numbers["most"]
    return Limits(
        seconds=frame.seconds,
        steps=max([most for start, most in shelf.steps if minutes >= start], default=0),
        new_drills=new_drills if frame.level == "new" else len(shelf.rows),
        range_drills=ranges["most_later"] if later else ranges["most"],
        hold_s=frame.hold_s,
        ends_in=_ends_in(frame),
        ends_by=_ENDS_BY.get(frame.wanted.verdict, _EITHER),
        target=shelf.target,
        needs_practice=_needs_practice(frame),
    )


def _ends_in(frame: Frame) -> frozenset[int]:
    """Return the patterns in which a session may end: training ends in the target itself.

    Where the pack has no such drill for the client, and for any other verdict, what carries over
    to the target will do as well.
    """
    shelf = frame.shelf
    if frame.wanted.verdict == "train" and any(
        row.place.pattern == shelf.target and _taught(frame, row, "transfer") for row in shelf.rows
    ):
        return frozenset([shelf.target])
    return shelf.ends_in


def _needs_practice(frame: Frame) -> bool:
    """Say if lacking skill weighs enough, and there is plain practice for such a client."""
    wanted, shelf = frame.wanted, frame.shelf
    if wanted.verdict == "practise":
        return False
    skill = sum([wanted.weights[v] for v in shelf.skill])
    if skill < round(frame.graph.decision.practice_step_from * MICRO):
        return False
    return any(_taught(frame, row, "practice") for row in shelf.rows)


def _taught(frame: Frame, row: Row, aim: Aim) -> bool:
    """Say if the drill is a plain one of that aim that such a client may end in."""
    return (
        row.plain
        and row.drill.aim == aim
        and (row.drill.remote or not frame.remote)
        and row.drill.id not in frame.avoid
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
        price=frame.shelf.price,
        limits=limits,
    )
    return Laid(
        problem=problem,
        offered=tuple([offered[c] for c in keep]),
        barred=tuple(sorted([*barred, *gone.values()], key=attrgetter("drill"))),
    )
