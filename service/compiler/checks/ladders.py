"""A ladder rises: one aim, no drill twice, levels that never fall, and a place for every drill."""

from collections.abc import Iterator
from itertools import pairwise
from typing import get_args

from service.compiler.draft import MANIFEST, Draft
from service.model.errors import PackFault
from service.model.quantities import Level

CHECK = "ladders"
LEVELS: tuple[str, ...] = get_args(Level)


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each ladder that does not rise, and each live drill with no place."""
    yield from _rungs(draft)
    if not draft.lacks("ladders"):
        yield from _places(draft)


def _rungs(draft: Draft) -> Iterator[PackFault]:
    first: dict[str, str] = {}
    for ladder in draft.live.ladders.values():
        drills = [draft.every.drills[r] for r in ladder.rungs if r in draft.every.drills]
        faults = []
        if len({drill.aim for drill in drills}) > 1:
            faults.append(("joins drills of different aims", "split it by aim"))
        for easier, harder in pairwise(drills):
            if LEVELS.index(harder.level) < LEVELS.index(easier.level):
                wrong = f"`{harder.id}` is for {harder.level}, below `{easier.id}` before it"
                faults.append((wrong, "reorder the rungs or correct the level"))
        for rung in ladder.rungs:
            if rung in first:
                wrong = f"`{rung}` is already a rung of `{first[rung]}`"
                faults.append((wrong, "a drill has one ladder"))
            first.setdefault(rung, ladder.id)
        for wrong, do in faults:
            yield draft.fault("ladders", ladder.id, "rungs", check=CHECK, wrong=wrong, do=do)


def _places(draft: Draft) -> Iterator[PackFault]:
    placed = {rung for ladder in draft.live.ladders.values() for rung in ladder.rungs}
    alone = set(draft.manifest.stand_alone)
    for drill in draft.live.drills.values():
        if drill.aim != "practice" and drill.id not in placed | alone:
            yield draft.fault(
                "drills",
                drill.id,
                "id",
                check=CHECK,
                wrong="is on no ladder, so nothing is easier or harder",
                do=f"add it to a ladder, or to `stand_alone` in {MANIFEST}",
            )
    for name in sorted(alone):
        if name in placed or name not in draft.live.drills:
            yield PackFault(
                file=MANIFEST,
                record="",
                field="stand_alone",
                check=CHECK,
                wrong=f"`{name}` is on a ladder or no live drill",
                do="take it out",
            )
