"""A dose has the aim of the drills that use it, takes time, and is longer than its short form."""

from collections.abc import Iterator
from typing import get_args

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import DoseRecord, DoseRow, DrillRecord
from service.model.quantities import Level

CHECK = "doses"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each dose row that cannot be meant, and each drill it does not fit."""
    for dose in draft.every.doses.values():
        for level in get_args(Level):
            for field, wrong, do in _faults(getattr(dose, level)):
                yield draft.fault(
                    "doses", dose.id, f"{level}.{field}", check=CHECK, wrong=wrong, do=do
                )
    for drill in draft.every.drills.values():
        used = draft.every.doses.get(drill.dose)
        if used is not None:
            for field, wrong, do in _fits(drill, used):
                yield draft.fault("drills", drill.id, field, check=CHECK, wrong=wrong, do=do)


def _faults(row: DoseRow) -> Iterator[tuple[str, str, str]]:
    if row.short_sets >= row.sets:
        wrong = f"is {row.short_sets}, not fewer than `sets` {row.sets}"
        yield "short_sets", wrong, "lower it, or 0 for no short dose"
    if (row.short_sets > 0) != (row.short_effect > 0):
        yield "short_effect", "and `short_sets` do not go together", "give both or neither"
    if row.short_effect >= 1:
        yield "short_effect", "keeps all of the effect", "less work keeps less than all of it"


def _fits(drill: DrillRecord, dose: DoseRecord) -> Iterator[tuple[str, str, str]]:
    if drill.aim != dose.aim:
        wrong = f"`{dose.id}` is a dose for {dose.aim}, and the drill's aim is {drill.aim}"
        yield "dose", wrong, "use a dose of that aim"
    tempo = drill.lower_s + drill.pause_s + drill.lift_s
    for level in get_args(Level):
        row: DoseRow = getattr(dose, level)
        if tempo + row.hold_s == 0:
            wrong = f"has neither tempo nor hold at level {level}: a repetition takes no time"
            yield "lower_s", wrong, "give lower_s, pause_s, lift_s, or a dose that holds"
            return
