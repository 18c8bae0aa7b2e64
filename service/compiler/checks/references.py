"""Every id that a record names exists, and is live where the record is live."""

import difflib
from collections.abc import Iterable, Iterator

from service.compiler.draft import Draft
from service.compiler.mentions import Mention, mentions
from service.model.errors import PackFault
from service.model.knowledge import Record

CHECK = "references"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each name that nothing stands behind."""
    for mention in mentions(draft.every):
        if _retired(draft, mention) or _stands(draft, mention):
            continue
        known = [name for kind in mention.kinds for name in draft.every.of(kind)]
        where = " or ".join(f"{kind}/" for kind in mention.kinds)
        if mention.id in known:
            wrong = f"names `{mention.id}`, which is not live"
            do = "make it live, or name another"
        else:
            wrong = f"names `{mention.id}`, which no file in {where} defines"
            do = f"define it{nearest(mention.id, known)}"
        yield draft.fault(
            mention.kind, mention.record, mention.field, check=CHECK, wrong=wrong, do=do
        )
    yield from _stems(draft)


def nearest(name: str, known: Iterable[str]) -> str:
    """Return `; nearest: ...` with the known id most like a name, or nothing."""
    close = difflib.get_close_matches(name, sorted(known), n=1)
    return f"; nearest: `{close[0]}`" if close else ""


def _stands(draft: Draft, mention: Mention) -> bool:
    """Say if what is named may be named: live by live, anything by a draft."""
    if any((kind, mention.id) in draft.unreadable for kind in mention.kinds):
        return True
    by_live = mention.record in draft.live.of(mention.kind)
    records = draft.live if by_live and not mention.loose else draft.every
    return any(mention.id in records.of(kind) for kind in mention.kinds)


def _retired(draft: Draft, mention: Mention) -> bool:
    """Say if what is named is retired, which is another check's business."""
    return any(
        isinstance(record, Record) and record.status == "retired"
        for kind in mention.kinds
        if (record := draft.every.of(kind).get(mention.id)) is not None
    )


def _stems(draft: Draft) -> Iterator[PackFault]:
    stems = {cause.stem for cause in draft.every.causes.values()}
    if draft.lacks("causes"):
        return
    for change in draft.every.changes.values():
        for n, row in enumerate(change.persistence):
            if row.stem and row.stem not in stems:
                yield draft.fault(
                    "changes",
                    change.id,
                    f"persistence[{n}].stem",
                    check=CHECK,
                    wrong=f"names the stem `{row.stem}`, which no cause has",
                    do=f"name a stem in causes/{nearest(row.stem, stems)}",
                )
