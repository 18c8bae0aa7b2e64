"""The order in which a missing target is chosen names live movements, each once."""

from collections.abc import Iterator

from service.compiler.draft import MANIFEST, Draft
from service.model.errors import PackFault

CHECK = "targets"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each target of the manifest that is not live or stands there twice."""
    order = draft.manifest.target_order
    for n, target in enumerate(order):
        if target in order[:n]:
            wrong = f"names `{target}` twice"
        elif target not in draft.live.movements and not draft.lacks("movements"):
            wrong = f"names `{target}`, which is no live movement"
        else:
            continue
        yield PackFault(
            file=MANIFEST,
            record="",
            field="target_order",
            check=CHECK,
            wrong=wrong,
            do="take it out",
        )
