"""A picture shows what a body can do, on a floor that holds, with the drill's own kit."""

from collections.abc import Iterator, Mapping

from service.compiler.draft import Draft
from service.figures.body import Stance, stance_of
from service.figures.place import Placed, lowest, place, skin
from service.model.errors import PackFault
from service.model.knowledge import DrillRecord, FigureRecord

CHECK = "poses"
FREE = frozenset(("bar", "chair", "floor", "wall"))
"""Surfaces that are no kit by themselves; a bar is `pull_up_bar`."""
BELOW = -0.07
"""How deep the outline of a body may sink into the floor: about the width of a line."""
OFF = 0.03
"""How far a contact may hang above what it rests on."""
HEIGHTS: Mapping[str, tuple[float, float]] = {
    "bar": (0.9, 1.35),
    "bench": (0.17, 0.36),
    "chair": (0.17, 0.36),
    "step_box": (0.05, 0.36),
}
"""Lowest and highest of each surface, in body heights."""
UNDRAWN = frozenset(("face", "front", "nose", "throat"))


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each pose that no body takes, or that shows other kit than the drill's."""
    figure = next(iter(draft.live.figure.values()), None)
    if figure is None or draft.lacks("figure", "postures", "kit"):
        return
    for drill in draft.live.drills.values():
        if any(pose.posture not in draft.live.postures for pose in drill.poses):
            continue  # said by the check of references
        found = list(_of_drill(draft, drill, figure))
        for field, wrong, do in found:
            yield draft.fault("drills", drill.id, field, check=CHECK, wrong=wrong, do=do)


def _of_drill(
    draft: Draft, drill: DrillRecord, figure: FigureRecord
) -> Iterator[tuple[str, str, str]]:
    shown: set[str] = set()
    for n, pose in enumerate(drill.poses):
        stance = stance_of(pose, draft.live.postures[pose.posture])
        for wrong in (*_beyond(stance, figure), *_misplaced(place(stance, figure))):
            yield f"poses[{n}]", wrong, "change an angle or what it rests on"
        shown.update(placed.kit for placed in pose.kit)
        shown.update(surface for surface in stance.on.values() if surface not in FREE)
        if "bar" in stance.on.values():
            shown.add("pull_up_bar")
    if drill.poses and not any(
        shown <= set(way) and set(way) - shown <= {"mat"} for way in drill.kit
    ):
        kit = ", ".join(f"`{one}`" for one in sorted(shown)) or "none"
        yield "poses", f"show as kit {kit}, which is no way to do the drill", "draw one of its ways"


def _beyond(stance: Stance, figure: FigureRecord) -> Iterator[str]:
    for side, angles in (("left", stance.left), ("right", stance.right)):
        for joint, angle in sorted(angles.items()):
            low, high = figure.limits.get(joint, (-180.0, 180.0))  # type: ignore[call-overload]
            if not low <= angle <= high:
                yield f"bend {side} `{joint}` to {angle:g}, beyond {low:g} to {high:g}"


def _misplaced(body: Placed) -> Iterator[str]:
    for name, (_, _, height) in sorted(body.points.items()):
        depth = height - skin(name)
        if name not in UNDRAWN and depth < BELOW:
            yield f"sink `{name}` into the floor by {-depth:.2f} of body height"
    for contact, surface in body.stance.on.items():
        if surface == "floor" and abs(lowest(body.points, contact)) > OFF:
            yield f"leave `{contact}` {lowest(body.points, contact):.2f} off the floor"
    for what, height in sorted(body.surfaces.items()):
        low, high = HEIGHTS.get(what, (-2.0, 2.0))
        if not low <= height <= high:
            yield f"need a `{what}` of {height:.2f} of body height"
