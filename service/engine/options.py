"""From a client and the weights of causes to the problem of choosing a session.

Apart from the search because here drills, kit, levels and rules have names: every drill either
becomes an option or is barred for one reason.
"""

from collections.abc import Mapping

import msgspec

from service.engine.bars import helping
from service.engine.doors import KIT, OUTSCORED, RULE
from service.engine.frame import Closure, Frame, Wanted, frame_of
from service.engine.laid import Barred, Held, Laid, Offered
from service.engine.rows import Portion, Row
from service.engine.sides import weaker_side
from service.engine.table import Table, table_of
from service.model.choice import Limits, Problem
from service.model.graph import Graph
from service.model.quantities import MICRO, Aim, LeftOutReason
from service.model.screen import Screen

__all__ = ["Barred", "Closure", "Laid", "Offered", "Wanted", "lay"]

_EITHER: frozenset[Aim] = frozenset({"practice", "transfer"})
_OUTSCORED: tuple[LeftOutReason, str] = ("outscored", "")
_ENDS_BY: dict[str, frozenset[Aim]] = {"train": frozenset({"transfer"})}
"""What a session may end in, by verdict: practice alone does not end one that trains."""


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
    worths = _worths(frame)
    apart = _apart(frame, closed)
    reasons, likely = _kept_out(frame, worths, apart)
    held: list[Held] = []
    late = _lay_rows(frame, likely, worths, held)
    table, kept, gone = _pruned(frame, held)
    return Laid(
        frame=frame,
        closed=closed,
        table=table,
        held=kept,
        worths=worths,
        apart=apart,
        late=late,
        reasons=reasons,
        gone=gone,
    )


def _apart(frame: Frame, closed: Mapping[str, Closure]) -> frozenset[int]:
    """Return the rows that safety, the coach's wish or the distance keep out."""
    number = frame.shelf.number
    drills = {*closed, *frame.avoid, *(frame.shelf.in_room if frame.remote else ())}
    return frozenset([number[drill] for drill in drills if drill in number])


def _worths(frame: Frame) -> list[int]:
    """Return what the full dose of each row would add alone."""
    shelf = frame.shelf
    found = [0] * len(shelf.rows)
    for weight, parts in zip(frame.weights, shelf.worths, strict=True):
        if weight:
            for at, part in parts:
                found[at] += weight * part // MICRO
    return found


def _kept_out(
    frame: Frame, worths: list[int], apart: frozenset[int]
) -> tuple[list[int], list[int]]:
    """Return why rows are kept out, as places in `REASONS`, and those that may hold an option.

    Most drills would not earn their step, whatever rounding hides.
    """
    shelf, doors, seconds = frame.shelf, frame.doors, frame.seconds
    patterned, enough, sure_s, ways = shelf.patterned, shelf.enough, shelf.sure_s, shelf.kit.ways
    kinds, helpers, helpful = doors.kinds, doors.helpers, helping(frame)
    missing = shelf.kit.missing(frame.kit)
    reasons = list(doors.shut)
    likely = []
    for at, worth in enumerate(worths):
        if not (worth or patterned[at]) or reasons[at] or at in apart:
            continue
        if ways[at] and all(way & missing for way in ways[at]):
            reasons[at] = KIT
        elif kinds[at] or (helpers[at] and helpers[at] not in helpful):
            reasons[at] = RULE
        elif not patterned[at] and worth < enough[at] and sure_s[at] <= seconds:
            reasons[at] = OUTSCORED
        else:
            likely.append(at)
    return reasons, likely


def _lay_rows(
    frame: Frame, likely: list[int], worths: list[int], held: list[Held]
) -> dict[int, tuple[LeftOutReason, str]]:
    """Add the likely drills in each dose that fits and may be chosen; say why others have none."""
    rows, weights, price = frame.shelf.rows, frame.weights, frame.shelf.price
    seconds, recent = frame.seconds, frame.recent
    late: dict[int, tuple[LeftOutReason, str]] = {}
    for at in likely:
        row, worth = rows[at], worths[at]
        weaker = weaker_side(frame, row)
        patterned = row.place.pattern >= 0
        shortest, found = 0, False
        for fitting in row.doses.fitting[weaker != "none"]:
            portion, option = fitting.portion, fitting.option
            shortest = option.seconds
            if shortest > seconds:
                continue
            own = _worth(weights, portion) if portion.short else worth
            if own < price and not patterned and not _earns(weights, price, portion, own):
                continue
            found = True
            if recent and row.drill.id in recent:
                option = msgspec.structs.replace(option, is_new=False)
            held.append(Held(at, row, portion, option, fitting.standing, weaker, own))
        if found:
            continue
        if not shortest:
            late[at] = "rule", frame.shelf.rules["static_hold_limit"].id
        else:
            late[at] = ("minutes", str(shortest)) if shortest > seconds else _OUTSCORED
    return late


def _worth(weights: tuple[int, ...], portion: Portion) -> int:
    """Return what the dose would add alone."""
    return sum([weights[i] * part // MICRO for i, part in portion.parts])


def _earns(weights: tuple[int, ...], price: int, portion: Portion, worth: int) -> bool:
    """Say if the dose alone may be worth its step, whatever rounding hides."""
    if worth + portion.hidden < price:
        return False
    hidden = sum([2 * (weights[i] // MICRO + 2) for i, _ in portion.parts if weights[i]])
    return worth + hidden >= price


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
        row.place.pattern == shelf.target and _taught(frame, row) for row in shelf.plain["transfer"]
    ):
        return frozenset([shelf.target])
    return shelf.ends_in


def _needs_practice(frame: Frame) -> bool:
    """Say if lacking skill weighs enough, and there is plain practice for such a client."""
    wanted, shelf = frame.wanted, frame.shelf
    if wanted.verdict == "practise":
        return False
    skill = sum([wanted.weights[v] for v in shelf.skill])
    if skill < shelf.rules["practice_step"].numbers["least_percent"] * MICRO // 100:
        return False
    return any(_taught(frame, row) for row in shelf.plain["practice"])


def _taught(frame: Frame, row: Row) -> bool:
    """Say if such a client may end in the plain drill."""
    return (row.drill.remote or not frame.remote) and row.drill.id not in frame.avoid


def _pruned(
    frame: Frame, held: list[Held]
) -> tuple[Table, tuple[Held, ...], dict[int, tuple[int, str]]]:
    """Return the table without the options that an exclusive other could always replace."""
    problem = Problem(
        options=tuple([one.option for one in held]),
        weights=frame.weights,
        curve=frame.graph.curve,
        price=frame.shelf.price,
        limits=_limits(frame),
    )
    table = table_of(problem, [one.worth for one in held], [one.standing for one in held])
    better = table.replaceable()
    gone: dict[int, tuple[int, str]] = {}
    if not any(better):
        return table, tuple(held), gone
    keep = [c for c in range(len(held)) if not better[c]]
    stay = {held[c].at for c in keep}
    for c, one in enumerate(held):
        if one.at not in stay and one.at not in gone:
            by = held[(better[c] & -better[c]).bit_length() - 1].row.drill.id
            gone[one.at] = (one.worth, by)
    return table.only(keep), tuple([held[c] for c in keep]), gone
