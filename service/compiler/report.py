"""Faults as lines for a person and as JSON for software."""

from collections.abc import Sequence

import msgspec

from service.model.errors import PackFault


def as_lines(faults: Sequence[PackFault]) -> str:
    """Return one line a fault and a closing count, in the order of file, record and field."""
    count = len(faults)
    closing = "no faults" if not count else f"{count} fault{'s' if count > 1 else ''}"
    return "\n".join([*map(str, sorted(faults)), closing])


def as_json(faults: Sequence[PackFault]) -> bytes:
    """Return an array of objects with `file`, `record`, `field`, `check`, `wrong`, `do`."""
    return msgspec.json.format(msgspec.json.encode(sorted(faults)))
