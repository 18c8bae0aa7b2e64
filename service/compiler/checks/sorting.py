"""Records stand sorted by id within their file, so that two people never add in two places."""

from collections.abc import Iterator
from itertools import pairwise

from service.compiler.draft import Draft
from service.model.errors import PackFault

CHECK = "sorting"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each record that stands after one with a larger id."""
    for file in draft.files:
        for before, after in pairwise(file.ids):
            if after < before:
                yield PackFault(
                    file=file.path,
                    record=after,
                    field="id",
                    check=CHECK,
                    wrong=f"stands after `{before}`",
                    do="sort the file by id",
                )
