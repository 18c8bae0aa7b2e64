"""Nothing that is in use names a retired record, not even in a table over a closed vocabulary."""

from collections.abc import Iterator

from service.compiler.draft import Draft
from service.compiler.mentions import mentions
from service.model.errors import PackFault
from service.model.knowledge import Record

CHECK = "retired"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each record, itself not retired, that still names a retired one."""
    for mention in mentions(draft.every):
        user = draft.every.of(mention.kind)[mention.record]
        if isinstance(user, Record) and user.status == "retired":
            continue
        for kind in mention.kinds:
            named = draft.every.of(kind).get(mention.id)
            if isinstance(named, Record) and named.status == "retired":
                yield draft.fault(
                    mention.kind,
                    mention.record,
                    mention.field,
                    check=CHECK,
                    wrong=f"still uses `{mention.id}`, which is retired",
                    do="name what took its place, or take the entry out",
                )
