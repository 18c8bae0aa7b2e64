"""A link joins a cause and a finding on sides that exist, in movements where it can be seen."""

from collections.abc import Iterator

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import CauseRecord, FindingRecord, LinkRecord

CHECK = "links"
OWN_MOVEMENT = ("skill", "stance")


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each link whose relation, movements or double do not fit."""
    first: dict[tuple[str, str, str], str] = {}
    for link in draft.every.links.values():
        cause = draft.every.causes.get(link.cause)
        finding = draft.every.findings.get(link.finding)
        for field, wrong, do in (
            *_relation(link, cause, finding),
            *_movements(draft, link, cause, finding),
        ):
            yield draft.fault("links", link.id, field, check=CHECK, wrong=wrong, do=do)
        for movement in link.strengths:
            key = (link.cause, link.finding, movement)
            if first.setdefault(key, link.id) != link.id:
                yield draft.fault(
                    "links",
                    link.id,
                    f"strengths.{movement}",
                    check=CHECK,
                    wrong=f"`{first[key]}` already links the same two in `{movement}`",
                    do="join the two links or give each its own movements",
                )


def _relation(
    link: LinkRecord, cause: CauseRecord | None, finding: FindingRecord | None
) -> Iterator[tuple[str, str, str]]:
    if cause is None or finding is None:
        return
    fitting: tuple[str, ...] = ("none",)
    if cause.sided:
        fitting = ("same", "opposite") if finding.sided else ("either",)
    if link.relation not in fitting:
        a = "has sides" if cause.sided else "has no sides"
        b = "has sides" if finding.sided else "is of the midline"
        wrong = f"`{link.relation}` does not fit: the cause {a}, the finding {b}"
        yield "relation", wrong, f"use {' or '.join(f'`{name}`' for name in fitting)}"


def _movements(
    draft: Draft, link: LinkRecord, cause: CauseRecord | None, finding: FindingRecord | None
) -> Iterator[tuple[str, str, str]]:
    for movement in link.strengths:
        if finding is not None and all(movement not in eye.movements for eye in finding.eyes):
            wrong = f"`{link.finding}` has no eye in `{movement}`"
            yield f"strengths.{movement}", wrong, "give it one or take the strength out"
        if (
            cause is not None
            and cause.mode in OWN_MOVEMENT
            and cause.stem in draft.every.movements
            and movement != cause.stem
        ):
            wrong = f"`{cause.id}` acts in its own movement `{cause.stem}` only"
            yield f"strengths.{movement}", wrong, "take the strength out"
