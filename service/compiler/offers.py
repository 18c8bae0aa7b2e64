"""From drills, doses and ladders to offers: real seconds, integer effects, holds by muscle.

Apart from the rest of freezing because the time model stands here and nowhere else.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import get_args

from msgspec import Struct

from service.compiler.draft import Records
from service.model.graph import DoseOffer, DrillOffer
from service.model.knowledge import DecisionRecord, DoseRecord, DrillRecord
from service.model.quantities import MICRO, Level, RegionId

LEVELS: tuple[Level, ...] = get_args(Level)
REGIONS: tuple[RegionId, ...] = get_args(RegionId)
ALONE = -1


class _Places(Struct, frozen=True, kw_only=True):
    """Integer indices of what offers refer to, and the numbers that all of them share."""

    variables: Mapping[str, int]
    muscles: Mapping[str, int]
    doses: Mapping[str, DoseRecord]
    changeover_s: int


def build_offers(live: Records, decision: DecisionRecord) -> tuple[DrillOffer, ...]:
    """Return one offer a live drill, in id order.

    Ladders, patterns and muscles are numbered in id order, regions in the contract's order.
    """
    places = _Places(
        variables={cause: n for n, cause in enumerate(live.causes)},
        muscles={muscle: n for n, muscle in enumerate(live.muscles)},
        doses=live.doses,
        changeover_s=decision.changeover_s,
    )
    ladders = [ladder.rungs for ladder in live.ladders.values()]
    ladder_of = {rung: n for n, rungs in enumerate(ladders) for rung in rungs}
    patterns = {movement: n for n, movement in enumerate(live.movements)}
    offers = []
    for index, drill in enumerate(live.drills.values()):
        ladder = ladder_of.get(drill.id, ALONE)
        rungs = (drill.id,) if ladder == ALONE else ladders[ladder]
        rung = rungs.index(drill.id)
        full = {level: _offer(places, drill, level, short=False) for level in LEVELS}
        short = {level: _offer(places, drill, level, short=True) for level in LEVELS}
        offers.append(
            DrillOffer(
                index=index,
                drill=drill.id,
                ladder=ladder,
                region=REGIONS.index(drill.region),
                pattern=ALONE if drill.pattern is None else patterns[drill.pattern],
                longest_hold_s=_longest_holds(drill, full),
                full=MappingProxyType(full),
                short=MappingProxyType({k: dose for k, dose in short.items() if dose.sets}),
                easier=rungs[rung - 1] if rung > 0 else None,
                harder=rungs[rung + 1] if rung + 1 < len(rungs) else None,
            )
        )
    return tuple(offers)


def _longest_holds(drill: DrillRecord, full: Mapping[Level, DoseOffer]) -> Mapping[Level, int]:
    """Return the longest single hold of each level, a pause in the movement included."""
    return MappingProxyType({k: max(dose.hold_s, drill.pause_s) for k, dose in full.items()})


def _offer(places: _Places, drill: DrillRecord, level: Level, *, short: bool) -> DoseOffer:
    """Return one dose in seconds: set-up, change-over, all sets of all sides, rests between.

    Between the two sides there is no rest of its own: one side rests while the other works.
    """
    dose = places.doses[drill.dose]
    row = {"new": dose.new, "regular": dose.regular, "advanced": dose.advanced}[level]
    sets = row.short_sets if short else row.sets
    part = row.short_effect if short else 1.0
    set_s = row.reps * (drill.lower_s + drill.pause_s + drill.lift_s + row.hold_s)
    sides = 2 if drill.each_side else 1
    held_s = row.reps * row.hold_s
    effects = [(places.variables[t.cause], round(t.effect * part * MICRO)) for t in drill.trains]
    stretched = sorted(places.muscles[m] for m in drill.stretches) if held_s else []
    return DoseOffer(
        sets=sets,
        reps=row.reps,
        hold_s=row.hold_s,
        rest_s=row.rest_s,
        effort=row.effort,
        seconds=drill.setup_s
        + places.changeover_s
        + sides * sets * set_s
        + (sets - 1) * row.rest_s,
        extra_set_s=set_s + row.rest_s,
        effects=tuple(sorted(effects)),
        holds=tuple((muscle, sets * held_s) for muscle in stretched),
        extra_holds=tuple((muscle, (sets + 1) * held_s) for muscle in stretched),
    )
