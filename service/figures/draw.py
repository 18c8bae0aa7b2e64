"""A drill's poses as one SVG: a panel for each, from the start to the end of a repetition.

Apart from placing because this is about ink: black, greys and white only, on its own white
ground, so that it reads the same on a screen, in the dark, and on paper.
"""

from collections.abc import Iterable, Iterator, Mapping
from html import escape

from msgspec import Struct

from service.figures.body import Vector, stance_of
from service.figures.kit import Mark, kit_marks, room_marks
from service.figures.place import HEIGHT, Placed, before_of, place
from service.figures.view import Dot, middle, seen_from
from service.model.graph import Graph
from service.model.knowledge import DrillRecord
from service.model.pose import Limb, Pose, PoseView
from service.model.quantities import Side

UNIT = 150.0
"""Pixels of one body height."""
GAP = 18.0
MARGIN = 9.0
WORKS, BODY, FAR = "#111", "#777", "#b4b4b4"
LIMBS: tuple[tuple[Limb, tuple[str, ...], float], ...] = (
    ("left_leg", ("left_hip", "left_knee", "left_ankle"), 0.062),
    ("right_leg", ("right_hip", "right_knee", "right_ankle"), 0.062),
    ("left_arm", ("left_shoulder", "left_elbow", "left_wrist", "left_hand"), 0.04),
    ("right_arm", ("right_shoulder", "right_elbow", "right_wrist", "right_hand"), 0.04),
)
FEET: tuple[tuple[Limb, tuple[str, ...]], ...] = (
    ("left_leg", ("left_ankle", "left_heel", "left_toes")),
    ("right_leg", ("right_ankle", "right_heel", "right_toes")),
)
LYING = 1.5
"""From so much wider than high a panel is low and long."""
ARROW_FROM = 0.05
"""A shorter way is not worth an arrow."""


class Panel(Struct, frozen=True, kw_only=True):
    """One pose as marks in body heights, the farthest first."""

    placed: Placed
    marks: tuple[Mark, ...]


def picture(graph: Graph, drill_id: str, side: Side) -> str | None:
    """Return the SVG of a drill with that side working, None where the drill has no poses."""
    drill = graph.drills[drill_id]
    figure = graph.figure
    if figure is None or not drill.poses:
        return None
    panels: list[Panel] = []
    heights = HEIGHT
    for pose in drill.poses:
        body = place(stance_of(pose, graph.postures[pose.posture]), figure, heights)
        before = before_of(body, panels[-1].placed) if panels else None
        panels.append(Panel(placed=body, marks=tuple(_marks(pose, body, before))))
        # a box that was stepped on is as high once somebody stands on it
        heights = {**heights, **body.surfaces}
    return _page(drill, side, panels)


# --- one pose -----------------------------------------------------------------------------


def _marks(pose: Pose, body: Placed, before: Mapping[str, Vector] | None) -> Iterator[Mark]:
    view = body.stance.view
    yield from room_marks(body)
    limbs = [*_limbs(pose, body.points, view), *_feet(pose, body.points, view)]
    limbs.append((_depth(body.points, ("waist",), view), _trunk(pose, body.points, view)))
    limbs.append((_depth(body.points, ("head",), view), _head(body.points, view)))
    for _, drawn in sorted(limbs, key=lambda one: -one[0]):
        yield from drawn
    for placed in pose.kit:
        yield from kit_marks(placed, body)
    if pose.moves is not None and before is not None:
        yield from _arrow(middle(before, pose.moves, view), middle(body.points, pose.moves, view))


Drawn = tuple[float, tuple[Mark, ...]]


def _depth(points: Mapping[str, Vector], names: Iterable[str], view: PoseView) -> float:
    depths = [seen_from(points[name], view)[1] for name in names]
    return sum(depths) / len(depths)


def _limbs(pose: Pose, points: Mapping[str, Vector], view: PoseView) -> Iterator[Drawn]:
    for limb, names, width in LIMBS:
        dots = tuple(seen_from(points[name], view)[0] for name in names)
        depth = _depth(points, names, view)
        ink = _ink(limb, pose, depth)
        marks = [Mark(kind="line", dots=dots, width=width, ink=ink)]
        if ink == WORKS:
            marks += [
                Mark(kind="disc", dots=(_between(dots[k], dots[k + 1]),), width=0.02, ink="#fff")
                for k in (0, 1)
            ]
        yield depth, tuple(marks)


def _feet(pose: Pose, points: Mapping[str, Vector], view: PoseView) -> Iterator[Drawn]:
    for limb, names in FEET:
        dots = tuple(seen_from(points[name], view)[0] for name in names)
        depth = _depth(points, names, view)
        ink = _ink(limb, pose, depth)
        yield depth, (Mark(kind="shape", dots=dots, width=0.022, ink=ink),)


def _ink(limb: Limb, pose: Pose, depth: float) -> str:
    if limb in pose.works:
        return WORKS
    return FAR if depth > 0.03 else BODY


def _trunk(pose: Pose, points: Mapping[str, Vector], view: PoseView) -> tuple[Mark, ...]:
    across = [a - b for a, b in zip(points["left_hip"], points["right_hip"], strict=True)]
    waist = points["waist"]
    left = (waist[0] + across[0] / 2, waist[1] + across[1] / 2, waist[2] + across[2] / 2)
    right = (waist[0] - across[0] / 2, waist[1] - across[1] / 2, waist[2] - across[2] / 2)
    corners = (
        points["left_shoulder"],
        left,
        points["left_hip"],
        points["right_hip"],
        right,
        points["right_shoulder"],
    )
    dots = tuple(seen_from(corner, view)[0] for corner in corners)
    neck = tuple(seen_from(points[name], view)[0] for name in ("chest", "throat"))
    ink = WORKS if "trunk" in pose.works else BODY
    marks = [
        Mark(kind="line", dots=neck, width=0.045, ink=BODY),
        Mark(kind="shape", dots=dots, width=0.08, ink=ink),
    ]
    if ink == WORKS:
        marks.append(Mark(kind="disc", dots=(seen_from(waist, view)[0],), width=0.03, ink="#fff"))
    return tuple(marks)


def _head(points: Mapping[str, Vector], view: PoseView) -> tuple[Mark, ...]:
    centre = seen_from(points["head"], view)[0]
    nose = seen_from(points["nose"], view)[0]
    face = Mark(kind="disc", dots=(centre,), width=0.128, ink=BODY)
    # a nose shows which way the face looks; from behind there is none to see
    if view == "back":
        return (face,)
    if view == "side":
        return Mark(kind="line", dots=(centre, nose), width=0.03, ink=BODY), face
    return face, Mark(kind="disc", dots=(nose,), width=0.026, ink="#fff")


def _between(a: Dot, b: Dot) -> Dot:
    return (a[0] + b[0]) / 2, (a[1] + b[1]) / 2


def _arrow(start: Dot, end: Dot) -> Iterator[Mark]:
    """Yield an arrow beside the way of a point, bent a little so that it stays clear of limbs."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = (dx * dx + dy * dy) ** 0.5
    if length < ARROW_FROM:
        return
    across = (-dy / length, dx / length)
    bend = 0.18 * length
    via = (
        (start[0] + end[0]) / 2 + across[0] * bend,
        (start[1] + end[1]) / 2 + across[1] * bend,
    )
    yield Mark(kind="arrow", dots=(start, via, end), width=0.014, ink="#000")


# --- the page -----------------------------------------------------------------------------


def _page(drill: DrillRecord, side: Side, panels: list[Panel]) -> str:
    """Return the SVG around the panels, each cropped to what it shows.

    Side by side on one ground, or one below the other where all are low and long.
    """
    boxes = [_box(panel.marks) for panel in panels]
    lying = all(box[2] - box[0] > LYING * (box[3] - box[1]) for box in boxes)
    corners, width, height = _below(boxes) if lying else _beside(boxes)
    parts = [
        _svg(mark, (x - box[0] * UNIT, y - box[1] * UNIT))
        for panel, box, (x, y) in zip(panels, boxes, corners, strict=True)
        for mark in panel.marks
    ]
    where = f", {side} side" if side in ("left", "right") and drill.each_side else ""
    flip = f' transform="matrix(-1 0 0 1 {width:.0f} 0)"' if side == "left" else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'role="img" stroke-linecap="round" stroke-linejoin="round">'
        f"<title>{escape(drill.name + where)}</title>"
        f'<rect width="100%" height="100%" rx="6" fill="#fff"/><g{flip}>'
        f"{''.join(parts)}</g></svg>"
    )


Box = tuple[float, float, float, float]
"""Left, top, right and bottom, in body heights."""


def _beside(boxes: list[Box]) -> tuple[list[Dot], float, float]:
    """Return the corner of each panel and the size of the page, the grounds in one line."""
    top = min(box[1] for box in boxes)
    bottom = max(box[3] for box in boxes)
    x = MARGIN
    corners = []
    for box in boxes:
        corners.append((x, MARGIN + (box[1] - top) * UNIT))
        x += (box[2] - box[0]) * UNIT + GAP
    return corners, x - GAP + MARGIN, (bottom - top) * UNIT + 2 * MARGIN


def _below(boxes: list[Box]) -> tuple[list[Dot], float, float]:
    """Return the corner of each panel and the size of the page, one below the other."""
    left = min(box[0] for box in boxes)
    right = max(box[2] for box in boxes)
    y = MARGIN
    corners = []
    for box in boxes:
        corners.append((MARGIN + (box[0] - left) * UNIT, y))
        y += (box[3] - box[1]) * UNIT + GAP
    return corners, (right - left) * UNIT + 2 * MARGIN, y - GAP + MARGIN


def _box(marks: Iterable[Mark]) -> Box:
    xs: list[float] = []
    ys: list[float] = []
    for mark in marks:
        for x, y in mark.dots:
            xs += (x - mark.width / 2, x + mark.width / 2)
            ys += (y - mark.width / 2, y + mark.width / 2)
    return min(xs), min(ys), max(xs), max(ys)


def _svg(mark: Mark, shift: Dot) -> str:
    """Return one mark; limbs have a white rim, so that they stand apart where they cross."""
    dots = [(x * UNIT + shift[0], y * UNIT + shift[1]) for x, y in mark.dots]
    path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in dots)
    width = mark.width * UNIT
    if mark.kind == "disc":
        x, y = dots[0]
        rim = "" if mark.ink == "#fff" else ' stroke="#fff" stroke-width="1.5"'
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{width / 2:.1f}" fill="{mark.ink}"{rim}/>'
    if mark.kind == "ring":
        x, y = dots[0]
        return (
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{width / 2:.1f}" fill="#fff" '
            f'fill-opacity="0.75" stroke="#000" stroke-width="2"/>'
        )
    if mark.kind == "shape":
        closed = f"{path}Z"
        return (
            f'<path d="{closed}" fill="#fff" stroke="#fff" stroke-width="{width + 3:.1f}"/>'
            f'<path d="{closed}" fill="{mark.ink}" stroke="{mark.ink}" stroke-width="{width:.1f}"/>'
        )
    if mark.kind == "box":
        return f'<path d="{path}Z" fill="#fff" stroke="#000" stroke-width="2"/>'
    if mark.kind == "arrow":
        return _svg_arrow(dots)
    if mark.kind == "thin":
        dash = ' stroke-dasharray="5 3"' if mark.dashed else ""
        return (
            f'<path d="{path}" fill="none" stroke="{mark.ink}" '
            f'stroke-width="{max(width, 1.5):.1f}"{dash}/>'
        )
    return (
        f'<path d="{path}" fill="none" stroke="#fff" stroke-width="{width + 3:.1f}"/>'
        f'<path d="{path}" fill="none" stroke="{mark.ink}" stroke-width="{width:.1f}"/>'
    )


def _svg_arrow(dots: list[Dot]) -> str:
    (sx, sy), (vx, vy), (ex, ey) = dots
    dx, dy = ex - vx, ey - vy
    length = (dx * dx + dy * dy) ** 0.5 or 1.0
    ux, uy = dx / length, dy / length
    head = [
        (ex - 9 * ux + 5 * uy, ey - 9 * uy - 5 * ux),
        (ex, ey),
        (ex - 9 * ux - 5 * uy, ey - 9 * uy + 5 * ux),
    ]
    tip = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in head)
    way = f"M{sx:.1f} {sy:.1f}Q{vx:.1f} {vy:.1f} {ex:.1f} {ey:.1f}"
    rim = f'<path d="{way}{tip}" fill="none" stroke="#fff" stroke-width="5.5"/>'
    return f'{rim}<path d="{way}{tip}" fill="none" stroke="#000" stroke-width="2.5"/>'
