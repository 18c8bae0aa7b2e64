"""Each row of a change names one thing that persists, and no two rows name the same."""

from collections.abc import Iterator

from service.compiler.draft import Draft
from service.model.errors import PackFault

CHECK = "persistence"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each row that names none or several, and each row given twice."""
    for change in draft.every.changes.values():
        seen: set[tuple[str | None, ...]] = set()
        for n, row in enumerate(change.persistence):
            owners = (row.cause, row.stem, row.mode)
            given = sum(owner is not None for owner in owners)
            if given != 1:
                wrong, do = f"names {given} of `cause`, `stem`, `mode`", "name exactly one"
            elif (*owners, row.finding) in seen:
                wrong, do = "names what an earlier row names", "keep one of the two"
            else:
                seen.add((*owners, row.finding))
                continue
            yield draft.fault(
                "changes", change.id, f"persistence[{n}]", check=CHECK, wrong=wrong, do=do
            )
