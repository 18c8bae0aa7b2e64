"""From a client and the weights of causes to the problem of choosing a session.

Apart from the search because here drills, kit, levels and rules have names: every drill either
becomes an option or is barred for one reason.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import msgspec

from service.engine.bars import helping
from service.engine.doors import KIT, OUTSCORED, RULE, Outside
from service.engine.frame import Closure, Frame, Wanted, frame_of
from service.engine.laid import Barred, Held, Laid, Offered
from service.engine.rivals import rivals_of
from service.engine.rows import Fitting, Portion, Row
from service.engine.sides import weaker_side
from service.engine.table import Table
from service.model.choice import Limits, Problem
from service.model.graph import Graph
from service.model.quantities import MICRO, Aim, LeftOutReason
from service.model.screen import Screen

if TYPE_CHECKING:
    from mypy_extensions import i64

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
    worths, serving = _worths(frame)
    apart = _apart(frame, closed)
    outside, likely = _kept_out(frame, worths, serving, apart)
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
        outside=outside,
        gone=gone,
    )


def _apart(frame: Frame, closed: Mapping[str, Closure]) -> frozenset[int]:
    """Return the rows that safety, the coach's wish or the distance keep out."""
    number = frame.shelf.number
    drills = {*closed, *frame.avoid, *(frame.shelf.in_room if frame.remote else ())}
    return frozenset([number[drill] for drill in drills if drill in number])


def _worths(frame: Frame) -> tuple[list[int], list[int]]:
    """Return what the full dose of each row would add alone, and the rows that would add any."""
    worths = frame.shelf.worths
    found = [0] * len(frame.shelf.rows)
    serving: list[int] = []
    whole: i64 = MICRO
    for variable, much in enumerate(frame.weights):
        if much:
            weight: i64 = much
            for at, part in worths[variable]:
                before: i64 = found[at]
                after = before + weight * part // whole
                if after > 0:
                    found[at] = after
                    if before == 0:
                        serving.append(at)
    return found, serving


def _kept_out(
    frame: Frame, worths: list[int], serving: list[int], apart: frozenset[int]
) -> tuple[Outside, list[int]]:
    """Return why rows are kept out, and those that may hold an option, in their order.

    Rows that serve nothing and are of no pattern are not looked at. Most drills would not earn
    their step, whatever rounding hides.
    """
    shelf, doors, seconds = frame.shelf, frame.doors, frame.seconds
    patterned, enough, sure_s, ways = shelf.patterned, shelf.enough, shelf.sure_s, shelf.kit.ways
    kinds, helpers, helpful = doors.kinds, doors.helpers, helping(frame)
    free, missing = doors.free, shelf.kit.missing(frame.kit)
    outside = Outside(list(doors.shut))
    reasons, counts = outside.reasons, outside.counts
    most, first = outside.most, outside.first
    likely = []
    looked = serving + [at for at in doors.movements if not worths[at]]
    for at in looked:
        if apart and at in apart:
            continue
        worth, code = worths[at], reasons[at]
        if not code:
            if not free[at]:
                lacking, helper = ways[at], helpers[at]
                if lacking and all(way & missing for way in lacking):
                    code = KIT
                elif kinds[at] or (helper and helper not in helpful):
                    code = RULE
            if not code and not patterned[at] and worth < enough[at] and sure_s[at] <= seconds:
                code = OUTSCORED
            if not code:
                likely.append(at)
                continue
            reasons[at] = code
        if worth:
            count = counts[code]
            counts[code] = count + 1
            if worth > most[code] or (worth == most[code] and at < first[code]):
                most[code], first[code] = worth, at
    likely.sort()
    return outside, likely


def _lay_rows(
    frame: Frame, likely: list[int], worths: list[int], held: list[Held]
) -> dict[int, tuple[LeftOutReason, str]]:
    """Add the likely drills in each dose that fits and may be chosen; say why others have none."""
    shelf = frame.shelf
    rows, weights, price = shelf.rows, frame.weights, shelf.price
    seconds, recent = frame.seconds, frame.recent
    late: dict[int, tuple[LeftOutReason, str]] = {}
    for at in likely:
        row, worth = rows[at], worths[at]
        weaker = weaker_side(frame, row)
        plain, extra = row.doses.fitting
        shortest, found = 0, False
        for fitting in plain if weaker == "none" else extra:
            portion = fitting.portion
            shortest = fitting.standing.seconds
            if shortest > seconds:
                continue
            own = _worth(weights, portion) if portion.short else worth
            if own < price and not row.patterned and not _earns(weights, price, portion, own):
                continue
            found = True
            if recent and row.drill.id in recent:
                known = msgspec.structs.replace(fitting.option, is_new=False)
                held.append(Held(at, row, Fitting(portion, known), weaker, own))
            else:
                held.append(Held(at, row, fitting, weaker, own))
        if found:
            continue
        if not shortest:
            late[at] = "rule", shelf.rules["static_hold_limit"].id
        else:
            late[at] = ("minutes", str(shortest)) if shortest > seconds else _OUTSCORED
    return late


def _worth(weights: tuple[int, ...], portion: Portion) -> int:
    """Return what the dose would add alone."""
    found: i64 = 0
    whole: i64 = MICRO
    for i, part in portion.parts:
        weight: i64 = weights[i]
        found += weight * part // whole
    return found


def _earns(weights: tuple[int, ...], price: int, portion: Portion, worth: int) -> bool:
    """Say if the dose alone may be worth its step, whatever rounding hides."""
    if worth + portion.hidden < price:
        return False
    hidden = sum([2 * (weights[i] // MICRO + 2) for i, _ in portion.parts if weights[i]])
    return worth + hidden >= price


def _limits(frame: Frame) -> Limits:
    shelf, minutes = frame.shelf, frame.screen.minutes
    most, most_later, later_from = shelf.range_drills
    steps = 0
    for start, allowed in shelf.steps:
        if minutes >= start:
            steps = max(steps, allowed)
    return Limits(
        seconds=frame.seconds,
        steps=steps,
        new_drills=shelf.new_drills if frame.level == "new" else len(shelf.rows),
        range_drills=most_later if minutes >= later_from else most,
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
    weights, skill = wanted.weights, 0
    for variable in shelf.skill:
        skill += weights[variable]
    if skill < shelf.least_skill:
        return False
    return any(_taught(frame, row) for row in shelf.plain["practice"])


def _taught(frame: Frame, row: Row) -> bool:
    """Say if such a client may end in the plain drill."""
    return (row.drill.remote or not frame.remote) and row.drill.id not in frame.avoid


def _pruned(
    frame: Frame, held: list[Held]
) -> tuple[Table, tuple[Held, ...], dict[int, tuple[int, str]]]:
    """Return the table without the options that an exclusive other could always replace."""
    limits = _limits(frame)
    rivals = rivals_of([one.fitting.standing for one in held], frame.weights, limits)
    better = rivals.replaceable()
    gone: dict[int, tuple[int, str]] = {}
    kept = held
    if any(better):
        keep = [c for c, by in enumerate(better) if not by]
        kept = [held[c] for c in keep]
        stay = {one.at for one in kept}
        for c, by in enumerate(better):
            one = held[c]
            if by and one.at not in stay and one.at not in gone:
                gone[one.at] = (one.worth, held[(by & -by).bit_length() - 1].row.drill.id)
        rivals = rivals.only(keep)
    price = frame.shelf.price
    problem = Problem(
        options=tuple([one.fitting.option for one in kept]),
        weights=frame.weights,
        curve=frame.graph.curve,
        price=price,
        limits=limits,
    )
    return Table(problem, rivals, [one.worth - price for one in kept]), tuple(kept), gone
