"""A drill declares what its own position, load and flags already say, so that a caution can ask.

Apart from the references because nothing here is looked up: each row is one thing that cannot be
true of a drill without another. What a drill hides altogether, no check can find.
"""

from collections.abc import Callable, Iterator, Mapping

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import DrillRecord, Position
from service.model.quantities import RegionId

CHECK = "declares"
BEARS: Mapping[Position, tuple[frozenset[RegionId], ...]] = {
    "front_support": (frozenset(("shoulder",)), frozenset(("elbow", "wrist"))),
    "half_kneeling": (frozenset(("knee",)),),
    "hands_and_knees": (frozenset(("elbow", "wrist")), frozenset(("knee",))),
    "kneeling": (frozenset(("knee",)),),
    "side_support": (frozenset(("shoulder",)),),
    "squatting": (frozenset(("hip",)), frozenset(("knee",))),
}
"""By position: of each set of regions at least one bears weight there."""
Told = tuple[str, str, str]
"""Field, what is wrong, what to do."""
Asks = Callable[[DrillRecord], bool]
FLAGS: tuple[tuple[Asks, Asks, Told], ...] = (
    (
        lambda drill: drill.load == "heavy",
        lambda drill: drill.braced or drill.impact,
        ("braced", "is false, and a heavy load invites breath holding", "set it or lower the load"),
    ),
    (
        lambda drill: drill.impact,
        lambda drill: {"ankle", "knee"} <= set(drill.loads),
        ("loads", "leaves out the ankle or the knee of a landing", "name both"),
    ),
    (
        lambda drill: drill.overhead,
        lambda drill: "shoulder" in drill.loads,
        ("loads", "leaves out the shoulder of arms over the head", "name the shoulder"),
    ),
    (
        lambda drill: drill.spine_arches or drill.spine_bends or drill.spine_twists,
        lambda drill: bool({"low_back", "neck", "upper_back"} & set(drill.loads)),
        ("loads", "leaves out the spine that moves", "name low_back, neck or upper_back"),
    ),
    (
        lambda drill: bool(drill.stretches),
        lambda drill: bool(drill.end_range),
        ("end_range", "is empty for a drill that stretches", "name where the stretch ends"),
    ),
    (
        lambda drill: bool(drill.end_range),
        lambda drill: set(drill.end_range) <= set(drill.loads),
        ("end_range", "names a region that is not among `loads`", "add it to loads"),
    ),
)  # fmt: skip
"""Where the first holds, so must the second."""


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each drill that leaves out what follows from the rest of it."""
    for drill in draft.live.drills.values():
        for field, wrong, do in _missing(drill):
            yield draft.fault("drills", drill.id, field, check=CHECK, wrong=wrong, do=do)


def _missing(drill: DrillRecord) -> Iterator[Told]:
    for some in BEARS.get(drill.position, ()):
        if not some & set(drill.loads):
            names = " or ".join(sorted(some))
            yield "loads", f"leaves out what `{drill.position}` bears on", f"name {names}"
    for asks, holds, told in FLAGS:
        if asks(drill) and not holds(drill):
            yield told
