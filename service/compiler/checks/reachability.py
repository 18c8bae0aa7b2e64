"""Whatever can be seen has a cause, and whatever is a cause has a way that needs no kit.

A drill is open to its level and every level above, so a way for `new` clients is one for all.
"""

from collections.abc import Iterator
from typing import get_args

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import CauseRecord, DrillRecord
from service.model.quantities import Aim, Level, Mode

CHECK = "reachability"
LEVELS: tuple[Level, ...] = get_args(Level)
AIM_FOR: dict[Mode, Aim] = {
    "range": "range",
    "control": "control",
    "skill": "practice",
    "stance": "practice",
}
ENDS: tuple[Aim, ...] = ("transfer", "practice")


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each finding, cause and target that nothing leads to or from.

    Silent about what hangs on records that could not be read: their own faults come first.
    """
    if not draft.lacks("causes", "findings", "links"):
        yield from _findings(draft)
        yield from _unlinked(draft)
    if not draft.lacks("drills"):
        yield from _ways(draft)
        yield from _targets(draft)


def _findings(draft: Draft) -> Iterator[PackFault]:
    linked = {
        (link.finding, movement)
        for link in draft.live.links.values()
        for movement in link.strengths
    }
    for finding in draft.live.findings.values():
        for movement in sorted({m for eye in finding.eyes for m in eye.movements}):
            if movement in draft.live.movements and (finding.id, movement) not in linked:
                yield draft.fault(
                    "findings",
                    finding.id,
                    "eyes",
                    check=CHECK,
                    wrong=f"can be seen in `{movement}`, where no live link gives it a cause",
                    do="add a link with a strength there, or take the movement out",
                )


def _unlinked(draft: Draft) -> Iterator[PackFault]:
    linked = {link.cause for link in draft.live.links.values()}
    for cause in draft.live.causes.values():
        if cause.id not in linked:
            yield draft.fault(
                "causes",
                cause.id,
                "id",
                check=CHECK,
                wrong="makes no finding: no live link names it",
                do="add a link",
            )


def _ways(draft: Draft) -> Iterator[PackFault]:
    for cause in draft.live.causes.values():
        trained = [d for d in draft.live.drills.values() if _trains(d, cause)]
        if cause.mode == "build":
            for drill in trained:
                yield draft.fault(
                    "drills",
                    drill.id,
                    "trains",
                    check=CHECK,
                    wrong=f"trains `{cause.id}`, and bony build is accommodated, never trained",
                    do="take it out",
                )
        if cause.advice.strip() and cause.mode in ("build", "stance"):
            continue
        if cause.mode == "build":
            yield _no_advice(draft, cause)
            continue
        levels = _closed_levels(trained, AIM_FOR[cause.mode])
        if levels:
            wrong = f"has no live {AIM_FOR[cause.mode]} drill without kit at level {levels}"
            do = "add one that `trains` it, with an empty set among its `kit` alternatives"
            yield draft.fault("causes", cause.id, "id", check=CHECK, wrong=wrong, do=do)


def _no_advice(draft: Draft, cause: CauseRecord) -> PackFault:
    return draft.fault(
        "causes",
        cause.id,
        "advice",
        check=CHECK,
        wrong="is empty, and nothing else can be done about bony build",
        do="say how to accommodate it",
    )


def _targets(draft: Draft) -> Iterator[PackFault]:
    for movement in draft.live.movements.values():
        drills = [d for d in draft.live.drills.values() if _carry(d, movement.id) > 0]
        for aim in ENDS:
            levels = _closed_levels(drills, aim)
            if levels:
                yield draft.fault(
                    "movements",
                    movement.id,
                    "id",
                    check=CHECK,
                    wrong=f"as a target has no live {aim} drill without kit at level {levels}",
                    do=f"add one that `carries_to` {movement.id}",
                )


def _trains(drill: DrillRecord, cause: CauseRecord) -> bool:
    return any(trained.cause == cause.id for trained in drill.trains)


def _carry(drill: DrillRecord, target: str) -> float:
    return next((part for to, part in drill.carries_to.items() if to == target), 0.0)


def _closed_levels(drills: list[DrillRecord], aim: Aim) -> str:
    """Return the levels, joined by commas, at which none of the drills is a free one of the aim."""
    return ", ".join(v for v in LEVELS if not any(_free(drill, aim, v) for drill in drills))


def _free(drill: DrillRecord, aim: Aim, level: Level) -> bool:
    """Say if the drill has this aim, needs no kit, and may be given at the level."""
    return drill.aim == aim and () in drill.kit and LEVELS.index(drill.level) <= LEVELS.index(level)
