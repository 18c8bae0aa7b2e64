"""A help that is given can be taken away again: a plain drill of the same pattern follows."""

from collections.abc import Iterator
from typing import get_args

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import DrillRecord
from service.model.quantities import Level

CHECK = "helpers"
LEVELS: tuple[str, ...] = get_args(Level)
PATTERNED = ("practice", "transfer")


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each helped drill without a plain one, and each drill without a pattern."""
    for drill in draft.live.drills.values():
        if drill.aim in PATTERNED and drill.pattern is None and not _beyond_movements(draft, drill):
            yield draft.fault(
                "drills",
                drill.id,
                "pattern",
                check=CHECK,
                wrong=f"is missing from a {drill.aim} drill",
                do="say which movement it is",
            )
        elif drill.pattern is not None and drill.pattern not in drill.carries_to:
            yield draft.fault(
                "drills",
                drill.id,
                "carries_to",
                check=CHECK,
                wrong=f"does not name its own pattern `{drill.pattern}`",
                do="say how much it carries over to the movement it is",
            )
        if drill.helper is None:
            continue
        if drill.pattern is None:
            wrong, do = "is given for a drill without a pattern", "give the pattern or drop it"
        elif drill.helper in draft.every.kit and not all(drill.helper in k for k in drill.kit):
            wrong, do = f"`{drill.helper}` is not in every alternative of `kit`", "add it there"
        elif not _has_plain(draft, drill):
            wrong = f"`{drill.helper}` is never taken away: no drill of `{drill.pattern}` without"
            do = f"add one open to level {drill.level} and to the same setting"
        else:
            continue
        yield draft.fault("drills", drill.id, "helper", check=CHECK, wrong=wrong, do=do)


def _beyond_movements(draft: Draft, drill: DrillRecord) -> bool:
    """Say if the drill practises a skill that belongs to no one movement, such as bracing."""
    stems = {
        draft.every.causes[t.cause].stem for t in drill.trains if t.cause in draft.every.causes
    }
    return drill.aim == "practice" and not stems & set(draft.every.movements)


def _has_plain(draft: Draft, helped: DrillRecord) -> bool:
    return any(
        plain.helper is None
        and plain.pattern == helped.pattern
        and plain.aim in PATTERNED
        and LEVELS.index(plain.level) <= LEVELS.index(helped.level)
        and (plain.remote or not helped.remote)
        for plain in draft.live.drills.values()
    )
