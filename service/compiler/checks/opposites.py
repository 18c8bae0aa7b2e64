"""Two findings that exclude each other both say so."""

from collections.abc import Iterator

from service.compiler.draft import Draft
from service.model.errors import PackFault

CHECK = "opposites"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each finding whose opposite does not name it in return."""
    for finding in draft.every.findings.values():
        if finding.opposite is None:
            continue
        other = draft.every.findings.get(finding.opposite)
        if other is not None and other.opposite != finding.id:
            yield draft.fault(
                "findings",
                finding.id,
                "opposite",
                check=CHECK,
                wrong=f"is `{other.id}`, which does not name it in return",
                do=f'write `opposite = "{finding.id}"` there, or take this one out',
            )
