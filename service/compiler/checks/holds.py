"""Static stretches stay under the cap of the pack's own rule, with the extra set counted."""

from collections.abc import Iterator
from typing import get_args

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import DoseRow
from service.model.quantities import Level

CHECK = "holds"
RULE = "static_hold_limit"
NUMBER = "most_s"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each stretch whose dose, one set added, passes the cap at any level."""
    rules = [rule for rule in draft.live.rules.values() if rule.kind == RULE]
    caps = [rule.numbers[NUMBER] for rule in rules if NUMBER in rule.numbers]
    for rule in rules:
        if NUMBER not in rule.numbers:
            yield draft.fault(
                "rules",
                rule.id,
                "numbers",
                check=CHECK,
                wrong=f"has no `{NUMBER}`",
                do="give the most seconds of static hold a muscle and side",
            )
    for drill in draft.live.drills.values():
        dose = draft.every.doses.get(drill.dose)
        if dose is None:
            continue
        if not drill.stretches:
            if drill.aim == "range" and dose.new.hold_s > 0:
                yield draft.fault(
                    "drills",
                    drill.id,
                    "stretches",
                    check=CHECK,
                    wrong="is empty for a range drill that is held, so no cap can count it",
                    do="name the muscles that the hold lengthens",
                )
            continue
        for level in get_args(Level):
            row: DoseRow = getattr(dose, level)
            held = (row.sets + 1) * row.reps * row.hold_s
            if any(held > cap for cap in caps):
                yield draft.fault(
                    "drills",
                    drill.id,
                    "dose",
                    check=CHECK,
                    wrong=f"holds {held} s at level {level} with the extra set, over {min(caps)} s",
                    do="use a shorter hold, or fewer sets or repetitions",
                )
