"""A link that rests on a posture of the muscle table agrees with it, or says where it does not.

Modest on purpose: it asks three questions only. Do the muscles of the cause pull the way the link
says, for findings that are one motion of one joint? Is a shortness claimed of muscles that are
all slack there, or might be, because no posture is named? Does a cause name its muscles at all?
Rows called `uncertain` say nothing, and a muscle that the table does not hold is passed over.
"""

from collections.abc import Iterator, Mapping

from msgspec import Struct

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import Action, CauseRecord, LinkRecord
from service.model.quantities import FindingId, Mode

CHECK = "muscles"
MUSCULAR: tuple[Mode, ...] = ("control", "range")


class Shown(Struct, frozen=True, kw_only=True):
    """The motion of the table that a finding is, its sign, and the causes that it speaks of.

    A cause of `control` lets the body go where its muscles would have held it back; a cause of
    `range` pulls it where its muscles pull.
    """

    motion: str
    sign: int
    modes: tuple[Mode, ...] = MUSCULAR


SHOWN: Mapping[FindingId, Shown] = {
    "arch_drop": Shown(motion="subtalar_inversion", sign=-1, modes=("control",)),
    "knee_in": Shown(motion="knee_in_swivel", sign=1),
    "knee_out": Shown(motion="knee_in_swivel", sign=-1),
    "lumbar_arch": Shown(motion="hip_flexion", sign=1, modes=("range",)),
    "pelvis_drop": Shown(motion="hip_adduction", sign=1, modes=("control",)),
    "pelvis_tuck": Shown(motion="hip_flexion", sign=-1, modes=("range",)),
}
"""Short calves drop the arch by the foot giving way, not by their own pull: hence control alone."""
WORDS: Mapping[str, tuple[str, str]] = {
    "hip_adduction": ("pull the thigh in", "pull the thigh out"),
    "hip_flexion": ("bend the hip", "straighten the hip"),
    "knee_in_swivel": ("turn the knee in", "turn the knee out"),
    "subtalar_inversion": ("lift the arch", "let the foot roll in"),
}


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each link that the table contradicts and that does not say so."""
    yield from _unnamed(draft)
    postures = {a.posture for m in draft.every.muscles.values() for a in m.actions}
    for link in draft.live.links.values():
        cause = draft.every.causes.get(link.cause)
        if cause is None:
            continue
        if not link.posture:
            yield from _anywhere(draft, link, cause)
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


def _unnamed(draft: Draft) -> Iterator[PackFault]:
    for cause in draft.live.causes.values():
        if cause.mode in MUSCULAR and not cause.muscles:
            yield draft.fault(
                "causes",
                cause.id,
                "muscles",
                check=CHECK,
                wrong=f"is empty, and a cause of {cause.mode} lies in some muscle",
                do="name the muscles and what each does there",
            )


def _anywhere(draft: Draft, link: LinkRecord, cause: CauseRecord) -> Iterator[PackFault]:
    """Yield a fault for a shortness without posture, of muscles that are slack in some posture."""
    slack = [
        posture for posture, actions in _by_posture(draft, cause).items() if _all_slack(actions)
    ]
    if cause.mode == "range" and slack and not link.disagrees.strip():
        yield draft.fault(
            "links",
            link.id,
            "posture",
            check=CHECK,
            wrong=f"is empty, and at {slack[0]} every muscle of `{cause.id}` is slack",
            do="name the posture in which it shows, or say in `disagrees` why the link stands",
        )


def _by_posture(draft: Draft, cause: CauseRecord) -> dict[str, list[Action]]:
    found: dict[str, list[Action]] = {}
    for part in cause.muscles:
        if part.muscle in draft.every.muscles:
            for action in draft.every.muscles[part.muscle].actions:
                found.setdefault(action.posture, []).append(action)
    return dict(sorted(found.items()))


def _all_slack(actions: list[Action]) -> bool:
    return bool(actions) and all(action.fibre_state == "slack" for action in actions)


def _contradictions(draft: Draft, link: LinkRecord, cause: CauseRecord) -> Iterator[str]:
    """Yield what the table says against a link."""
    actions = _by_posture(draft, cause).get(link.posture, [])
    shown = SHOWN.get(link.finding)
    if shown is not None and cause.mode in shown.modes:
        pull = sum(
            a.torque_nm for a in actions if a.motion == shown.motion and a.action != "uncertain"
        )
        if pull * shown.sign * (1 if cause.mode == "range" else -1) < 0:
            does = WORDS[shown.motion][0 if pull > 0 else 1]
            yield (
                f"is empty, and at {link.posture} the muscles of `{cause.id}` together {does} "
                f"by {abs(pull):.1f} Nm, against what the link to `{link.finding}` says"
            )
    if cause.mode == "range" and _all_slack(actions):
        yield f"is empty, and at {link.posture} every muscle of `{cause.id}` is slack"
