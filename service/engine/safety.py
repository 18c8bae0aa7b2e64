"""What comes before any plan: which alerts, cautions and referrals hold, and what they close.

Apart from the rest because nothing here may depend on what was seen or what is likely; the
records of the pack decide, this room only matches them to the client.
"""

from collections.abc import Iterator, Mapping

from service.engine.frame import Closure
from service.engine.kept import Keeper
from service.engine.units import in_pack_units
from service.model.graph import DrillOffer, Graph
from service.model.knowledge import AlertRecord, CautionRecord, Closes, DrillRecord, Fact
from service.model.quantities import Level, RegionId, Side, Urgency
from service.model.records import Leaf, Ordered
from service.model.screen import Condition, Pain, Screen


class Witness(Ordered, frozen=True, kw_only=True):
    """What made a fact hold: a region (None for the whole body), a side, and if it is pain.

    `placed` is false for facts that have no place, such as age or a reading.
    """

    region: RegionId | None
    side: Side
    pain: bool
    placed: bool


class HeldCaution(Leaf, frozen=True, kw_only=True):
    """A caution that holds, where."""

    caution: str
    region: RegionId | None
    side: Side


class HeldReferral(Leaf, frozen=True, kw_only=True):
    """A referral by an alert or a caution, where and how urgent."""

    by: str
    alert: bool
    region: RegionId | None
    side: Side
    urgency: Urgency


class Safety(Leaf, frozen=True, kw_only=True):
    """All that safety decides: `refer` stops the plan; `closed` names each closed drill's reason.

    Referrals come most urgent first, then by id; cautions by id.
    """

    refer: bool
    referrals: tuple[HeldReferral, ...]
    cautions: tuple[HeldCaution, ...]
    closed: Mapping[str, Closure]


URGENCIES: tuple[Urgency, ...] = ("emergency", "same_day", "soon", "before_training")
NOWHERE = Witness(region=None, side="none", pain=False, placed=False)


def judge(screen: Screen, target: str | None, graph: Graph) -> Safety:
    """Return what the client's answers stop, close and refer.

    `refer` holds for any alert, for a caution that demands a clearance, and for pain that closes
    a region which the target loads.
    """
    screen = in_pack_units(screen, graph)
    referrals: list[HeldReferral] = []
    alerts, possible = _possible(graph, _told(screen))
    for alert in alerts:
        if (found := _witnesses(alert.when, screen)) is not None:
            referrals += _refer(alert.id, True, alert.urgency, found)
    refer = bool(referrals)
    loaded = frozenset(graph.movements[target].regions) if target else frozenset()
    cautions: list[HeldCaution] = []
    closed: dict[str, Closure] = {}
    for caution in possible:
        found = _witnesses(caution.when, screen)
        if found is None:
            continue
        cautions += [
            HeldCaution(caution=caution.id, region=where.region, side=where.side) for where in found
        ]
        if caution.refers is not None:
            referrals += _refer(caution.id, False, caution.refers, found)
        refer = refer or _stops(caution, found, loaded)
        _close(caution, found, screen.client.level, graph, closed)
    referrals.sort(key=lambda r: (URGENCIES.index(r.urgency), r.by, r.region or "", r.side))
    return Safety(refer=refer, referrals=tuple(referrals), cautions=tuple(cautions), closed=closed)


_ALERT, _CONDITION, _PAIN, _MEASURE, _AGE = 1, 2, 4, 8, 16
"""Bits of what a fact can only hold of where it was told."""


def _told(screen: Screen) -> int:
    """Return the bits of what the screen tells of the client."""
    client = screen.client
    return (
        (_ALERT if client.alerts else 0)
        | (_CONDITION if client.conditions else 0)
        | (_PAIN if client.pain else 0)
        | (_MEASURE if screen.measurements else 0)
        | (_AGE if client.age_years is not None else 0)
    )


def _needs(fact: Fact) -> int:
    """Return the bits without which the fact cannot hold."""
    need = _AGE if fact.age_from is not None or fact.age_to is not None else 0
    need |= _ALERT if fact.alert is not None else 0
    need |= _MEASURE if fact.measure is not None else 0
    if fact.condition is not None:
        return need | _CONDITION
    return need | (_PAIN if _asks_pain(fact) else 0)


Possible = tuple[tuple[AlertRecord, ...], tuple[CautionRecord, ...]]


def _possible(graph: Graph, told: int) -> Possible:
    """Return the alerts and cautions that can hold of what was told, worked out once."""
    known = _POSSIBLE.of(graph)
    if told not in known:
        known[told] = (
            tuple([one for one in graph.alerts.values() if _may_hold(one.when, told)]),
            tuple([one for one in graph.cautions.values() if _may_hold(one.when, told)]),
        )
    return known[told]


def _may_hold(when: tuple[tuple[Fact, ...], ...], told: int) -> bool:
    return any(all(_needs(fact) & ~told == 0 for fact in facts) for facts in when)


def _nothing_known(_graph: Graph) -> dict[int, Possible]:
    return {}


_POSSIBLE = Keeper(_nothing_known)


def _refer(
    by: str, alert: bool, urgency: Urgency, found: tuple[Witness, ...]
) -> Iterator[HeldReferral]:
    for where in found:
        yield HeldReferral(
            by=by, alert=alert, region=where.region, side=where.side, urgency=urgency
        )


def _stops(caution: CautionRecord, found: tuple[Witness, ...], loaded: frozenset[str]) -> bool:
    if caution.demands_clearance:
        return True
    return caution.closes.own_region and any(w.pain and w.region in loaded for w in found)


def _witnesses(when: tuple[tuple[Fact, ...], ...], screen: Screen) -> tuple[Witness, ...] | None:
    """Return where any alternative holds, sorted, or None where none does."""
    found: set[Witness] = set()
    for facts in when:
        each = [tuple(_of_fact(fact, screen)) for fact in facts]
        if all(each):
            found |= {w for ws in each for w in ws if w.placed} or {NOWHERE}
    if not found:
        return None
    return tuple(sorted(found, key=lambda w: (w.region or "", w.side, w.pain)))


def _of_fact(fact: Fact, screen: Screen) -> Iterator[Witness]:
    """Yield what makes one fact hold: every part of it that is given must hold at once."""
    client = screen.client
    if not _age_holds(fact, client.age_years):
        return
    if fact.alert is not None and fact.alert not in (client.alerts or ()):
        return
    if fact.measure is not None and not _measure_holds(fact, screen):
        return
    if fact.condition is not None:
        for condition in client.conditions or ():
            if condition.id == fact.condition and _condition_holds(fact, condition):
                yield Witness(region=condition.region, side=condition.side, pain=False, placed=True)
    elif _asks_pain(fact):
        for pain in client.pain or ():
            if _pain_holds(fact, pain):
                yield Witness(region=pain.region, side=pain.side, pain=True, placed=True)
    else:
        yield NOWHERE


def _age_holds(fact: Fact, age: int | None) -> bool:
    if fact.age_from is None and fact.age_to is None:
        return True
    if age is None:
        return False
    return (fact.age_from is None or age >= fact.age_from) and (
        fact.age_to is None or age <= fact.age_to
    )


def _measure_holds(fact: Fact, screen: Screen) -> bool:
    return any(
        m.measure == fact.measure
        and (fact.at_least is None or m.value >= fact.at_least)
        and (fact.at_most is None or m.value <= fact.at_most)
        for m in screen.measurements
    )


def _condition_holds(fact: Fact, condition: Condition) -> bool:
    if fact.cleared is not None and condition.cleared != fact.cleared:
        return False
    # unknown age counts as recent
    return (
        fact.within_weeks is None
        or condition.weeks_ago is None
        or condition.weeks_ago <= fact.within_weeks
    )


def _asks_pain(fact: Fact) -> bool:
    asked = (fact.pain_region, fact.pain_any, fact.pain_from, fact.pain_kind, fact.pain_when)
    return any(part is not None for part in asked)


def _pain_holds(fact: Fact, pain: Pain) -> bool:
    return (
        pain.score >= (fact.pain_from or 1)
        and fact.pain_region in (None, pain.region)
        and fact.pain_kind in (None, pain.kind)
        and fact.pain_when in (None, pain.when)
    )


def _close(
    caution: CautionRecord,
    found: tuple[Witness, ...],
    level: Level,
    graph: Graph,
    closed: dict[str, Closure],
) -> None:
    """Add the drills that the caution closes; pain is named before any other caution."""
    pain = any(where.pain for where in found)
    closure = Closure(reason="pain" if pain else "caution", by=caution.id)
    drills = set(_anywhere(caution, level, graph))
    for where in found:
        if where.placed:
            drills.update(_own(caution, where.region, graph))
    for drill in sorted(drills):
        held = closed.get(drill)
        if held is None or (pain and held.reason != "pain"):
            closed[drill] = closure


def _anywhere(caution: CautionRecord, level: Level, graph: Graph) -> tuple[str, ...]:
    """Return the drills that a caution closes wherever it holds, worked out once."""
    known = _ANYWHERE.of(graph)
    if (caution.id, level) not in known:
        known[caution.id, level] = tuple(
            [
                offer.drill
                for offer in graph.offers
                if _closes_anywhere(caution.closes, graph.drills[offer.drill], offer, level)
            ]
        )
    return known[caution.id, level]


def _own(caution: CautionRecord, region: RegionId | None, graph: Graph) -> tuple[str, ...]:
    """Return the drills that a caution closes for where it holds, worked out once."""
    known = _OWN.of(graph)
    if (caution.id, region) not in known:
        drills = graph.drills.values()
        known[caution.id, region] = tuple(
            [drill.id for drill in drills if _closes_own(caution.closes, drill, region)]
        )
    return known[caution.id, region]


def _none_anywhere(_graph: Graph) -> dict[tuple[str, Level], tuple[str, ...]]:
    return {}


def _none_own(_graph: Graph) -> dict[tuple[str, RegionId | None], tuple[str, ...]]:
    return {}


_ANYWHERE = Keeper(_none_anywhere)
_OWN = Keeper(_none_own)


def _closes_anywhere(closes: Closes, drill: DrillRecord, offer: DrillOffer, level: Level) -> bool:
    longest = closes.hold_longer_than_s
    return (
        any(region in drill.loads for region in closes.regions)
        or drill.position in closes.positions
        or drill.load in closes.loads
        or drill.aim in closes.aims
        or (longest is not None and offer.longest_hold_s.get(level, 0) > longest)
        or (closes.end_range and bool(drill.end_range))
        or (closes.spine_bends and drill.spine_bends)
        or (closes.spine_twists and drill.spine_twists)
        or (closes.spine_arches and drill.spine_arches)
        or (closes.impact and drill.impact)
        or (closes.braced and drill.braced)
        or (closes.balance and drill.balance)
        or (closes.head_low and drill.head_low)
        or (closes.overhead and drill.overhead)
    )


def _closes_own(closes: Closes, drill: DrillRecord, region: RegionId | None) -> bool:
    """Say if the drill is closed where the witness is; no region means the whole body."""
    here = region is None or region in drill.loads
    at_end = bool(drill.end_range) if region is None else region in drill.end_range
    return (
        (closes.own_region and here)
        or (here and drill.load in closes.own_region_loads)
        or (closes.own_region_end_range and at_end)
    )
