"""From drills, doses and ladders to offers: real seconds, integer effects, holds by muscle.

Apart from the rest of freezing because the time model stands here and nowhere else.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import get_args

from service.compiler.draft import Records
from service.model.graph import DoseOffer, DrillOffer
from service.model.knowledge import DecisionRecord, DoseRecord, DoseRow, DrillRecord
from service.model.quantities import MICRO, Level, RegionId

LEVELS: tuple[Level, ...] = get_args(Level)
REGIONS: tuple[RegionId, ...] = get_args(RegionId)
ALONE = -1


def build_offers(live: Records, decision: DecisionRecord) -> tuple[DrillOffer, ...]:
    """Return one offer a live drill, in id order.

    Ladders, patterns and muscles are numbered in id order, regions in the contract's order.
    """
    places = {
        rung: (n, place)
        for n, ladder in enumerate(live.ladders.values())
        for place, rung in enumerate(ladder.rungs)
    }
    rungs = [ladder.rungs for ladder in live.ladders.values()]
    patterns = {movement: n for n, movement in enumerate(live.movements)}
    offers = []
    for index, drill in enumerate(live.drills.values()):
        ladder, place = places.get(drill.id, (ALONE, 0))
        around = rungs[ladder] if ladder != ALONE else (drill.id,)
        offers.append(
            DrillOffer(
                index=index,
                drill=drill.id,
                ladder=ladder,
                region=REGIONS.index(drill.region),
                pattern=ALONE if drill.pattern is None else patterns[drill.pattern],
                longest_hold_s=_longest_holds(drill, live.doses[drill.dose]),
                full=_full(live, drill, decision.changeover_s),
                short=_short(live, drill, decision.changeover_s),
                easier=around[place - 1] if place > 0 else None,
                harder=around[place + 1] if place + 1 < len(around) else None,
            )
        )
    return tuple(offers)


def _row(dose: DoseRecord, level: Level) -> DoseRow:
    return {"new": dose.new, "regular": dose.regular, "advanced": dose.advanced}[level]


def _longest_holds(drill: DrillRecord, dose: DoseRecord) -> Mapping[Level, int]:
    """Return the longest single hold of each level, a pause in the movement included."""
    return MappingProxyType({v: max(_row(dose, v).hold_s, drill.pause_s) for v in LEVELS})


def _full(live: Records, drill: DrillRecord, changeover_s: int) -> Mapping[Level, DoseOffer]:
    dose = live.doses[drill.dose]
    return MappingProxyType(
        {v: _offer(live, drill, _row(dose, v), changeover_s, short=False) for v in LEVELS}
    )


def _short(live: Records, drill: DrillRecord, changeover_s: int) -> Mapping[Level, DoseOffer]:
    dose = live.doses[drill.dose]
    return MappingProxyType(
        {
            v: _offer(live, drill, _row(dose, v), changeover_s, short=True)
            for v in LEVELS
            if _row(dose, v).short_sets > 0
        }
    )


def _offer(
    live: Records, drill: DrillRecord, row: DoseRow, changeover_s: int, *, short: bool
) -> DoseOffer:
    """Return one dose in seconds: set-up, change-over, all sets of all sides, rests between.

    Between the two sides there is no rest of its own: one side rests while the other works.
    """
    sets = row.short_sets if short else row.sets
    part = row.short_effect if short else 1.0
    tempo = drill.lower_s + drill.pause_s + drill.lift_s
    set_s = row.reps * (tempo + row.hold_s)
    sides = 2 if drill.each_side else 1
    work = sides * sets * set_s + (sets - 1) * row.rest_s
    return DoseOffer(
        sets=sets,
        reps=row.reps,
        hold_s=row.hold_s,
        rest_s=row.rest_s,
        effort=row.effort,
        seconds=drill.setup_s + changeover_s + work,
        extra_set_s=set_s + row.rest_s,
        effects=_effects(live, drill, part),
        holds=_holds(live, drill, sets * row.reps * row.hold_s),
        extra_holds=_holds(live, drill, (sets + 1) * row.reps * row.hold_s),
    )


def _effects(live: Records, drill: DrillRecord, part: float) -> tuple[tuple[int, int], ...]:
    variables = {cause: n for n, cause in enumerate(live.causes)}
    return tuple(sorted((variables[t.cause], round(t.effect * part * MICRO)) for t in drill.trains))


def _holds(live: Records, drill: DrillRecord, held_s: int) -> tuple[tuple[int, int], ...]:
    muscles = {muscle: n for n, muscle in enumerate(live.muscles)}
    return tuple(sorted((muscles[m], held_s) for m in drill.stretches if held_s > 0))
