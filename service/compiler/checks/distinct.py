"""No two drills say the same sentence: each is told what matters in it and in no other."""

import re
from collections.abc import Iterator

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import DrillRecord

CHECK = "distinct"
_END = re.compile(r"(?<=[.!?])\s+")


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each sentence of a drill that an earlier drill, by id, already says."""
    first: dict[str, str] = {}
    for drill in draft.every.drills.values():
        for field, text in _texts(drill):
            for sentence in _END.split(text):
                said = " ".join(sentence.lower().strip(" .!?").split())
                if first.setdefault(said, drill.id) != drill.id:
                    yield draft.fault(
                        "drills",
                        drill.id,
                        field,
                        check=CHECK,
                        wrong=f"says `{sentence}`, as `{first[said]}` does",
                        do="say what is particular to this drill",
                    )


def _texts(drill: DrillRecord) -> Iterator[tuple[str, str]]:
    yield "cue", drill.cue
    if drill.touch_cue:
        yield "touch_cue", drill.touch_cue
    yield "good_looks_like", drill.good_looks_like
    yield "stop_when", drill.stop_when
    for n, error in enumerate(drill.errors):
        yield f"errors[{n}].seen", error.seen
        yield f"errors[{n}].fix", error.fix
