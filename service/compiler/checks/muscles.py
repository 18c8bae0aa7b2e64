"""A link that rests on a posture of the muscle table agrees with it, or says where it does not.

Modest on purpose: it asks two questions only. Does the cause pull the knee the way the link to
`knee_in` or `knee_out` says? And is a shortness claimed of muscles that are all slack there?
Rows called `uncertain` say nothing, and a muscle that the table does not hold is passed over.
"""

from collections.abc import Iterator

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import Action, CauseRecord, LinkRecord

CHECK = "muscles"
SWIVEL = "knee_in_swivel"
"""Torque about the line from hip to ankle: above 0 turns the knee inward."""
INWARD = {"knee_in": 1, "knee_out": -1}


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each link that the table contradicts and that does not say so."""
    postures = {a.posture for m in draft.every.muscles.values() for a in m.actions}
    for link in draft.live.links.values():
        cause = draft.every.causes.get(link.cause)
        if not link.posture or cause is None:
            continue
        if link.posture not in postures:
            if draft.every.muscles:
                yield draft.fault(
                    "links",
                    link.id,
                    "posture",
                    check=CHECK,
                    wrong=f"`{link.posture}` is no posture of the muscle table",
                    do=f"use one of {', '.join(sorted(postures))}",
                )
            continue
        for wrong in () if link.disagrees.strip() else _contradictions(draft, link, cause):
            yield draft.fault(
                "links",
                link.id,
                "disagrees",
                check=CHECK,
                wrong=wrong,
                do="say in `disagrees` what the table says and why the link stands",
            )


def _contradictions(draft: Draft, link: LinkRecord, cause: CauseRecord) -> Iterator[str]:
    """Yield what the table says against a link.

    A cause of `control` lets the knee go where its muscles would have held it back; a cause of
    `range` pulls it where its muscles pull.
    """
    actions = [
        action
        for part in cause.muscles
        if part.muscle in draft.every.muscles
        for action in draft.every.muscles[part.muscle].actions
        if action.posture == link.posture
    ]
    claimed = INWARD.get(link.finding, 0) * {"range": 1, "control": -1}.get(cause.mode, 0)
    net = _inward_torque(actions)
    if net * claimed < 0:
        way = "in" if net > 0 else "out"
        yield (
            f"is empty, and at {link.posture} the muscles of `{cause.id}` together turn the "
            f"knee {way} by {abs(net):.1f} Nm, against what the link to `{link.finding}` says"
        )
    if cause.mode == "range" and actions and all(a.fibre_state == "slack" for a in actions):
        yield f"is empty, and at {link.posture} every muscle of `{cause.id}` is slack"


def _inward_torque(actions: list[Action]) -> float:
    return sum(a.torque_nm for a in actions if a.motion == SWIVEL and a.action != "uncertain")
