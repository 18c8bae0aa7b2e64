"""What could still be checked today, and for each check the screens it may lead to.

Apart from the scoring because here is said what a check is and how likely each answer would be:
every outcome is a screen that the engine can read, and a factor that makes the model's evidence
for it a probability.
"""

import itertools
import math
from collections.abc import Iterator
from statistics import NormalDist

import msgspec

from service.engine.decide import Decided
from service.engine.eye import Look, folded
from service.engine.infer_terms import STRONGEST
from service.engine.measured import reference_of, spread_of
from service.engine.read import Seen
from service.model.answer import SideOutcome
from service.model.graph import Graph
from service.model.knowledge import ChangeRecord, MeasureRecord, Method
from service.model.quantities import Result, Side, View
from service.model.records import Frozen
from service.model.screen import Measurement, Observation, Screen, Trial

RESULTS: tuple[Result, ...] = ("gone", "better", "same")
"""Worse is read as the same, so it is no outcome of its own."""
MOST_TRIALS = 6


class Outcome(Frozen, frozen=True, kw_only=True):
    """One answer: the screen with it, and ln of what its evidence lacks to be a probability."""

    sides: tuple[SideOutcome, ...]
    screen: Screen
    log_factor: float


class Check(Frozen, frozen=True, kw_only=True):
    """One more look. Its outcomes exclude each other, and one of them must come."""

    movement: str | None
    view: View | None
    finding: str | None
    side: Side | None
    change: str | None
    measure: str | None
    method: str | None
    kit: tuple[str, ...]
    seconds: int
    outcomes: tuple[Outcome, ...]

    @property
    def key(self) -> tuple[str, ...]:
        """What orders checks that are worth the same."""
        parts = (self.change, self.measure, self.movement, self.finding, self.view, self.side)
        return tuple(part or "" for part in parts)


def checks_of(decided: Decided, graph: Graph) -> Iterator[Check]:
    """Yield every check that client, room, setting, kit and cautions leave open."""
    open_to = _movements(decided, graph)
    yield from _trials(decided, graph, open_to)
    yield from _looks(decided, graph, open_to)
    if decided.screen.setting == "in_person":
        yield from _measures(decided, graph)


# --- what the client may be asked to do ------------------------------------------------------


def _movements(decided: Decided, graph: Graph) -> tuple[str, ...]:
    """Return the watched movements that no caution closes.

    A movement is closed where a closed region bears load in it, and where every drill that is
    this movement is closed.
    """
    closed_regions, everywhere = _closed_regions(decided, graph)
    if everywhere:
        return ()
    closed = decided.safety.closed
    found = []
    for movement in graph.movements.values():
        own = [d.id for d in graph.drills.values() if d.pattern == movement.id and not d.helper]
        if not movement.watched or closed_regions & set(movement.regions):
            continue
        if own and all(drill in closed for drill in own):
            continue
        found.append(movement.id)
    return tuple(found)


def _closed_regions(decided: Decided, graph: Graph) -> tuple[frozenset[str], bool]:
    """Return the regions that today's cautions close to load, and if it is the whole body."""
    regions: set[str] = set()
    everywhere = False
    for held in decided.safety.cautions:
        closes = graph.cautions[held.caution].closes
        regions |= set(closes.regions)
        if closes.own_region and held.region is not None:
            regions.add(held.region)
        everywhere = everywhere or (closes.own_region and held.region is None)
    return frozenset(regions), everywhere


# --- trials ----------------------------------------------------------------------------------


def _trials(decided: Decided, graph: Graph, open_to: tuple[str, ...]) -> Iterator[Check]:
    """Yield each change not yet tried on each finding that was seen, on all its sides at once."""
    groups: dict[tuple[str, str], list[Seen]] = {}
    for seen in decided.reading.positives:
        key = graph.events[seen.event]
        groups.setdefault((key.movement, key.finding), []).append(seen)
    for (movement, finding), events in groups.items():
        if movement not in open_to or any(len(s.trials) >= MOST_TRIALS for s in events):
            continue
        tried = {trial.change for seen in events for trial in seen.trials}
        for change in graph.changes.values():
            if change.id not in tried and _may_try(change, movement, decided.screen):
                yield _trial(decided.screen, graph, movement, finding, events, change)


def _may_try(change: ChangeRecord, movement: str, screen: Screen) -> bool:
    return (
        movement in change.movements
        and (change.remote or screen.setting != "remote")
        and set(change.kit) <= set(screen.kit)
    )


def _trial(
    screen: Screen,
    graph: Graph,
    movement: str,
    finding: str,
    events: list[Seen],
    change: ChangeRecord,
) -> Check:
    """Return the check of one change; reports sum to one as they are, so no factor is missing."""
    sides = [graph.events[seen.event].side for seen in events]
    outcomes = []
    for results in itertools.product(RESULTS, repeat=len(sides)):
        then = screen
        for seen, side, result in zip(events, sides, results, strict=True):
            trial = Trial(change=change.id, result=result)  # type: ignore[arg-type]
            then = _with_trial(then, movement, finding, side, seen.view, trial)
        outcomes.append(
            Outcome(
                sides=tuple(_side(side, result=r) for side, r in zip(sides, results, strict=True)),
                screen=then,
                log_factor=0.0,
            )
        )
    return Check(
        movement=movement,
        view=events[0].view,
        finding=finding,
        side=_together(sides),
        change=change.id,
        measure=None,
        method=None,
        kit=change.kit,
        seconds=change.seconds + graph.decision.look_s + _setup(change.kit, graph),
        outcomes=tuple(outcomes),
    )


def _with_trial(
    screen: Screen, movement: str, finding: str, side: Side, view: View, trial: Trial
) -> Screen:
    """Return the screen with a trial on one side of what was seen from one view."""
    found: list[Observation] = []
    for seen in screen.observations:
        about = (seen.movement, seen.finding, seen.view) == (movement, finding, view)
        if (
            not about
            or seen.grade == "absent"
            or not (side == "none" or seen.side in (side, "both"))
        ):
            found.append(seen)
            continue
        if side != "none" and seen.side == "both":
            other: Side = "right" if side == "left" else "left"
            found.append(msgspec.structs.replace(seen, side=other))
            seen = msgspec.structs.replace(seen, side=side)
        found.append(msgspec.structs.replace(seen, trials=(*seen.trials, trial)))
    return msgspec.structs.replace(screen, observations=tuple(found))


# --- findings not looked for -----------------------------------------------------------------


def _looks(decided: Decided, graph: Graph, open_to: tuple[str, ...]) -> Iterator[Check]:
    """Yield each finding that a movement's record looks for and nobody has looked for."""
    looked = {s.event for s in (*decided.reading.positives, *decided.reading.negatives)}
    for movement in open_to:
        for look in graph.movements[movement].look_for:
            every: tuple[Side, ...] = ("left", "none", "right")
            sides = [
                side
                for side in every
                if graph.event_of.get((movement, look.finding, side), -1) not in {-1, *looked}
            ]
            views = [v for v in look.views if (movement, look.finding, v) in graph.eyes]
            if sides and views:
                yield _look(decided.screen, graph, movement, look.finding, views[0], sides)


def _look(
    screen: Screen, graph: Graph, movement: str, finding: str, view: View, sides: list[Side]
) -> Check:
    each = [_grades(graph, movement, finding, view, side) for side in sides]
    outcomes = []
    for combined in itertools.product(*each):
        seen = tuple(one for _, one, _ in combined)
        then = msgspec.structs.replace(screen, observations=(*screen.observations, *seen))
        outcomes.append(
            Outcome(
                sides=tuple(told for told, _, _ in combined),
                screen=then,
                log_factor=math.fsum(log for _, _, log in combined),
            )
        )
    return Check(
        movement=movement,
        view=view,
        finding=finding,
        side=_together(sides),
        change=None,
        measure=None,
        method=None,
        kit=(),
        seconds=graph.decision.look_s,
        outcomes=tuple(outcomes),
    )


def _grades(
    graph: Graph, movement: str, finding: str, view: View, side: Side
) -> list[tuple[SideOutcome, Observation, float]]:
    """Return what one look may show on one side, and ln of the factor of each.

    Not seen has the folded eye's P(no false sighting), which inference leaves out because no
    cause changes it. Seen is 1 - (1 - leak) q, with q the part of the causes; a graded sighting
    is weighed with another leak, g. The one pair of factors c with
    sum_g c_g (1 - (1 - leak_g) q) = 1 - (1 - leak) q whatever the causes do makes the grades of
    a sighting, and all three answers, add up to one.
    """
    event = graph.event_of[movement, finding, side]
    eye = graph.eyes[movement, finding, view]
    look = Look(seen=True, sensitivity=eye.sensitivity, specificity=eye.specificity)
    fold = folded((look,), graph.network.events[event].leak)
    if fold is None:
        return []
    odds = fold.leak / (1 - fold.leak)
    leaks = {}
    for grade, factor in graph.decision.grade_leak.items():
        graded = odds * factor
        leaks[grade] = min(graded / (1 + graded), STRONGEST)
    wide = leaks["mild"] - leaks["marked"]
    marked = (leaks["mild"] - fold.leak) / wide if wide > 0 else 0.5
    factors = {"absent": 1 - fold.leak, "marked": marked, "mild": 1 - marked}
    return [
        (
            _side(side, grade=grade),
            Observation(movement=movement, view=view, finding=finding, grade=grade, side=side),  # type: ignore[arg-type]
            math.log(factor),
        )
        for grade, factor in factors.items()
        if factor > 0
    ]


# --- measurements ----------------------------------------------------------------------------


def _measures(decided: Decided, graph: Graph) -> Iterator[Check]:
    """Yield each measure that the kit allows, on each side, if none of its family was taken."""
    taken = {(graph.measures[m.measure].family, m.side) for m in decided.reading.measured}
    closed_regions, everywhere = _closed_regions(decided, graph)
    if everywhere:
        return
    for record in graph.measures.values():
        method = _method(record, decided.screen)
        if record.silent or not record.speaks_for or method is None:
            continue
        if record.region in closed_regions:
            continue
        sides: tuple[Side, ...] = ("left", "right") if record.sided else ("none",)
        for side in sides:
            if (record.family, side) not in taken:
                check = _measure(decided.screen, graph, record, method, side)
                if check is not None:
                    yield check


def _method(record: MeasureRecord, screen: Screen) -> Method | None:
    """Return the default method if its kit is here, else the first whose kit is."""
    ways = sorted(record.methods, key=lambda m: m.id != record.default_method)
    return next((m for m in ways if set(m.kit) <= set(screen.kit)), None)


def _measure(
    screen: Screen, graph: Graph, record: MeasureRecord, method: Method, side: Side
) -> Check | None:
    outcomes = tuple(_bins(screen, graph, record, method, side))
    if not outcomes:
        return None
    return Check(
        movement=None,
        view=None,
        finding=None,
        side=side,
        change=None,
        measure=record.id,
        method=method.id,
        kit=method.kit,
        seconds=method.seconds + _setup(method.kit, graph),
        outcomes=outcomes,
    )


def _bins(
    screen: Screen, graph: Graph, record: MeasureRecord, method: Method, side: Side
) -> Iterator[Outcome]:
    """Yield the bins of a measurement, each as the reading that has exactly its likelihood ratio.

    With the limit the reading is normal about mean + shift, without it about the mean. In a bin
    the ratio of the two masses is the likelihood ratio of one reading inside it, because the
    logarithm of that ratio is a straight line in the reading: v = mean + shift / 2 +
    spread^2 ln(ratio) / shift. The evidence for that reading times the mass without the limit is
    then the probability of the bin.
    """
    reference = reference_of(record, method.id, screen.client)
    shifts = [s.shift for s in record.speaks_for]
    if reference is None or min(shifts) * max(shifts) <= 0:
        # nothing to compare with, or a measure that speaks for limits of both ends
        return
    shift, spread = math.fsum(shifts) / len(shifts), spread_of(reference, method)
    without, limited = (
        NormalDist(reference.mean, spread),
        NormalDist(reference.mean + shift, spread),
    )
    marks = [q if shift < 0 else 1 - q for q in graph.decision.bins]
    edges = sorted(without.inv_cdf(q) for q in marks)
    for low, high in itertools.pairwise((-math.inf, *edges, math.inf)):
        usual, with_limit = _mass(without, low, high), _mass(limited, low, high)
        ratio = math.log(with_limit / usual)
        value = reference.mean + shift / 2 + spread * spread * ratio / shift
        reading = Measurement(
            measure=record.id,  # type: ignore[arg-type]
            value=min(max(value, record.lowest), record.highest),
            unit=record.unit,
            side=side,
            method=method.id,
        )
        then = msgspec.structs.replace(screen, measurements=(*screen.measurements, reading))
        told = _side(
            side,
            at_least=None if low == -math.inf else round(low, 1),
            below=None if high == math.inf else round(high, 1),
        )
        yield Outcome(sides=(told,), screen=then, log_factor=math.log(usual))


def _mass(normal: NormalDist, low: float, high: float) -> float:
    """Return the part of a normal between two readings."""
    return normal.cdf(high) - normal.cdf(low)


# --- parts -----------------------------------------------------------------------------------


def _setup(kit: tuple[str, ...], graph: Graph) -> int:
    return sum(graph.kit[one].setup_s for one in kit)


def _together(sides: list[Side]) -> Side:
    return "both" if len(sides) > 1 else sides[0]


def _side(
    side: Side,
    *,
    grade: str | None = None,
    result: Result | None = None,
    at_least: float | None = None,
    below: float | None = None,
) -> SideOutcome:
    return SideOutcome(side=side, grade=grade, result=result, at_least=at_least, below=below)  # type: ignore[arg-type]
