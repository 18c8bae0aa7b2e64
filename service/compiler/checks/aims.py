"""What a drill trains fits its aim: range needs a range cause, practice one that practice meets."""

from collections.abc import Iterator, Mapping

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.quantities import Aim, Mode

CHECK = "aims"
SERVES: Mapping[Aim, frozenset[Mode]] = {
    "range": frozenset(("range",)),
    "control": frozenset(("control",)),
    "practice": frozenset(("skill", "stance")),
}
"""A transfer drill carries whatever was gained, so any cause fits it."""


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each drill that trains nothing of its aim, or one cause twice."""
    for drill in draft.every.drills.values():
        names = [trained.cause for trained in drill.trains]
        known = [draft.every.causes[name] for name in names if name in draft.every.causes]
        wanted = SERVES.get(drill.aim)
        if len(set(names)) < len(names):
            yield draft.fault(
                "drills",
                drill.id,
                "trains",
                check=CHECK,
                wrong="names one cause twice",
                do="add the effects up in one entry",
            )
        # a cause that is unknown or unreadable has its own fault
        if wanted is None or len(known) < len(names):
            continue
        if not any(cause.mode in wanted for cause in known):
            modes = " or ".join(f"`.{mode}`" for mode in sorted(wanted))
            yield draft.fault(
                "drills",
                drill.id,
                "trains",
                check=CHECK,
                wrong=f"has no {modes} cause, though the aim is {drill.aim}",
                do="name the cause it serves or correct the aim",
            )
