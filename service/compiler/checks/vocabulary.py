"""The pack covers exactly the closed vocabularies of the contract, drafts counted.

The one check that a small pack made for a test may go without.
"""

from collections.abc import Iterator
from typing import get_args

from service.compiler.draft import Draft, Kind
from service.model.errors import PackFault
from service.model.quantities import (
    AlertId,
    ChangeId,
    ConditionId,
    FindingId,
    MeasureId,
    MovementId,
    TargetId,
)

CHECK = "vocabulary"
VOCABULARIES: tuple[tuple[Kind, frozenset[str]], ...] = (
    ("changes", frozenset(get_args(ChangeId))),
    ("findings", frozenset(get_args(FindingId))),
    ("measures", frozenset(get_args(MeasureId))),
    ("movements", frozenset((*get_args(MovementId), *get_args(TargetId)))),
)


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each id of the contract without a record, and each record without one."""
    for kind, wanted in VOCABULARIES:
        found = {*draft.every.of(kind), *(name for k, name in draft.unreadable if k == kind)}
        for name in sorted(wanted - found):
            yield draft.fault(
                kind,
                name,
                "id",
                check=CHECK,
                wrong=f"the contract knows `{name}` and the pack has no record of it",
                do="add one, as a draft if it is not ready",
            )
        for name in sorted(found - wanted):
            yield draft.fault(
                kind,
                name,
                "id",
                check=CHECK,
                wrong=f"`{name}` is not in the contract's list",
                do="use an id of the contract",
            )
    yield from _asked(draft)
    yield from _watched(draft)


def _asked(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each answer of a client that no record takes up.

    Alerts may also combine other facts, under ids of their own.
    """
    alerts = [f for r in draft.live.alerts.values() for facts in r.when for f in facts]
    cautions = [f for r in draft.live.cautions.values() for facts in r.when for f in facts]
    told: tuple[tuple[Kind, set[str], set[str | None]], ...] = (
        ("alerts", set(get_args(AlertId)), {fact.alert for fact in alerts}),
        ("cautions", set(get_args(ConditionId)), {fact.condition for fact in cautions}),
    )
    for kind, wanted, asked in told:
        for name in () if draft.lacks(kind) else sorted(wanted - asked):
            yield draft.fault(
                kind,
                "",
                "when",
                check=CHECK,
                wrong=f"no live record asks for `{name}`, which a client may tell",
                do="add a fact that does",
            )


def _watched(draft: Draft) -> Iterator[PackFault]:
    for movement in draft.every.movements.values():
        if movement.watched and movement.id not in get_args(MovementId):
            yield draft.fault(
                "movements",
                movement.id,
                "watched",
                check=CHECK,
                wrong="is true, and the contract has this movement as a target only",
                do="set it false",
            )
