"""The things around a body: what it stands and lies on, and what it holds.

Apart from the body because things follow it: a bench is as high as what rests on it, a ball as
large as the room under it.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Literal

from msgspec import Struct

from service.figures.body import Vector
from service.figures.place import GROUPS, Placed, is_beside, lowest
from service.figures.view import Dot, ends, seen_from
from service.model.pose import KitPlace, PoseView

BLACK = "#000"
WALL_ABOVE = 0.45
"""How high a wall behind somebody seen from above is drawn, so that it leaves room for them."""


class Mark(Struct, frozen=True, kw_only=True):
    """One thing to draw: its dots in body heights, its width, its ink."""

    kind: Literal["arrow", "box", "disc", "line", "ring", "shape", "thin"]
    dots: tuple[Dot, ...]
    width: float
    ink: str
    dashed: bool = False


def thin(*dots: Dot, width: float = 0.014, dashed: bool = False) -> Mark:
    """Return a thin black line."""
    return Mark(kind="thin", dots=dots, width=width, ink=BLACK, dashed=dashed)


def box(left: float, top: float, right: float, bottom: float) -> Mark:
    """Return a white box with a black rim."""
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    return Mark(kind="box", dots=corners, width=0.012, ink=BLACK)


def ring(centre: Dot, radius: float) -> Mark:
    """Return a ball or a plate."""
    return Mark(kind="ring", dots=(centre,), width=2 * radius, ink=BLACK)


# --- the room -----------------------------------------------------------------------------


def room_marks(body: Placed) -> Iterator[Mark]:
    """Yield the ground and every surface that something rests on."""
    view = body.stance.view
    seen = [seen_from(point, view)[0] for point in body.points.values()]
    left, right = min(x for x, _ in seen), max(x for x, _ in seen)
    if view == "above" and body.stance.lean < -45:
        yield _ground(body)
    elif set(body.stance.on.values()) - {"bar"}:
        yield thin((left - 0.08, 0.0), (right + 0.08, 0.0), width=0.012)
    for contact, surface in body.stance.on.items():
        at = [seen_from(body.points[name], view)[0] for name in GROUPS[contact]]
        if surface == "wall":
            yield from _wall(contact, body)
        else:
            yield from _surface(surface, body.surfaces.get(surface, 0.0), at, view)


def _ground(body: Placed) -> Mark:
    """Return the ground under somebody who lies on the back, seen from the feet and from above."""
    xs = [x for x, _, _ in body.points.values()]
    ys = [y for _, y, _ in body.points.values()]
    far, near = (seen_from((x, 0.0, 0.0), "above")[0][1] for x in (min(xs) - 0.08, max(xs) + 0.08))
    return box(min(ys) - 0.08, far, max(ys) + 0.08, near)


def _wall(contact: str, body: Placed) -> Iterator[Mark]:
    """Yield the edge of a wall where the contact is seen to touch it."""
    view, at = body.stance.view, body.surfaces["wall"]
    if view == "above":
        ys = [y for _, y, _ in body.points.values()]
        foot = seen_from((at, 0.0, 0.0), view)[0][1]
        yield box(min(ys) - 0.08, foot - WALL_ABOVE, max(ys) + 0.08, foot)
        return
    if view == "side":
        names = GROUPS[contact]
        at += sum(seen_from(body.points[n], view)[0][0] - body.points[n][0] for n in names) / len(
            names
        )
    elif not is_beside(contact, view):
        return
    elif view == "back":
        at = -at
    yield thin((at, -1.12), (at, 0.0), width=0.02)


def _surface(surface: str, height: float, at: list[Dot], view: PoseView) -> Iterator[Mark]:
    middle = sum(x for x, _ in at) / len(at)
    reach = max(abs(x - middle) for x, _ in at)
    if surface == "bench":
        half = max(0.2, reach + 0.07)
        yield box(middle - half, -height, middle + half, -height + 0.035)
        for x in (middle - half + 0.05, middle + half - 0.05):
            yield thin((x, -height + 0.04), (x, 0.0), width=0.02)
    elif surface == "chair":
        half = max(0.13, reach + 0.05)
        yield box(middle - half, -height, middle + half, -height + 0.03)
        for x in (middle - half + 0.03, middle + half - 0.03):
            yield thin((x, -height + 0.035), (x, 0.0), width=0.014)
    elif surface == "step_box":
        half = max(0.12, reach + 0.05)
        yield box(middle - half, -height, middle + half, 0.0)
    elif surface == "bar":
        span = max(0.3, reach + 0.12)
        ends_of_bar = (middle - span, -height), (middle + span, -height)
        if view == "side":
            # its end, hung from the ceiling
            yield thin((middle, -height - 0.12), (middle, -height), width=0.016)
            yield ring((middle, -height), 0.03)
        else:
            yield thin(*ends_of_bar, width=0.022)


# --- what is held -------------------------------------------------------------------------


def kit_marks(placed: KitPlace, body: Placed) -> Iterator[Mark]:
    """Yield one thing of the kit where it is."""
    points = ends(body.points, placed.at)
    drawer = DRAWERS.get(placed.kit)
    if drawer is not None:
        yield from drawer(placed, points, body)


Drawer = Callable[[KitPlace, tuple[Vector, ...], Placed], Iterator[Mark]]


def _band(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    """Yield a band between two points, round one, or from the body to where it is fixed."""
    view = body.stance.view
    dots = [seen_from(point, view)[0] for point in points]
    if placed.anchor is not None:
        end = _anchor(placed.anchor)
        for dot in dots:
            yield thin(dot, end, width=0.02)
        yield ring(end, 0.022)
        return
    if len(dots) == 2 and abs(dots[0][0] - dots[1][0]) + abs(dots[0][1] - dots[1][1]) > 0.07:
        yield thin(dots[0], dots[1], width=0.024)
    for x, y in dots:
        yield thin((x - 0.042, y), (x + 0.042, y), width=0.024)


def _line_to_anchor(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    """Yield a rope or strap; without an anchor it hangs straight from above."""
    view = body.stance.view
    dots = [seen_from(point, view)[0] for point in points]
    for x, y in dots:
        end = _anchor(placed.anchor) if placed.anchor is not None else (x, -1.25)
        yield thin((x, y), end, width=0.014)
        yield ring((x, y), 0.02)
    if placed.kit == "cable" and placed.anchor is not None:
        x, y = _anchor(placed.anchor)
        yield box(x - 0.02, -1.1, x + 0.02, 0.0)
        yield ring((x, y), 0.025)


def _anchor(anchor: tuple[float, ...]) -> Dot:
    return anchor[0], -anchor[1]


def _dumbbells(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    for point in points:
        x, y = seen_from(point, body.stance.view)[0]
        yield thin((x - 0.05, y), (x + 0.05, y), width=0.014)
        for end in (x - 0.055, x + 0.055):
            yield thin((end, y - 0.02), (end, y + 0.02), width=0.034)


def _kettlebell(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    dots = [seen_from(point, body.stance.view)[0] for point in points]
    x = sum(dot[0] for dot in dots) / len(dots)
    y = sum(dot[1] for dot in dots) / len(dots)
    yield ring((x, y + 0.02), 0.028)
    yield Mark(kind="disc", dots=((x, y + 0.075),), width=0.1, ink=BLACK)


def _barbell(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    view = body.stance.view
    dots = [seen_from(point, view)[0] for point in points]
    x = sum(dot[0] for dot in dots) / len(dots)
    y = sum(dot[1] for dot in dots) / len(dots)
    if view == "side":
        yield ring((x, y), 0.1)
        yield Mark(kind="disc", dots=((x, y),), width=0.03, ink=BLACK)
        return
    yield thin((x - 0.5, y), (x + 0.5, y), width=0.016)
    for end in (x - 0.44, x + 0.44):
        yield thin((end, y - 0.09), (end, y + 0.09), width=0.03)


def _stick(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    view = body.stance.view
    if placed.at == "back":
        # along the spine, a little behind it
        chest, pelvis = points
        behind = -0.075
        a = seen_from((chest[0] + behind, chest[1], chest[2] + 0.22), view)[0]
        b = seen_from((pelvis[0] + behind, pelvis[1], pelvis[2] - 0.06), view)[0]
        yield thin(a, b, width=0.016)
        return
    dots = [seen_from(point, view)[0] for point in points]
    if len(dots) == 1:
        x, _ = dots[0]
        yield thin((x, -0.95), (x, 0.0), width=0.016)
        return
    (ax, ay), (bx, by) = dots
    length = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
    if length < 0.15:
        yield ring(((ax + bx) / 2, (ay + by) / 2), 0.018)
        return
    ux, uy = (bx - ax) / length * 0.12, (by - ay) / length * 0.12
    yield thin((ax - ux, ay - uy), (bx + ux, by + uy), width=0.016)


def _under(largest: float) -> Drawer:
    """Return a drawer of something round between the body and the floor."""

    def draw(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
        low = min(points, key=lambda point: point[2])
        x, y = seen_from(low, body.stance.view)[0]
        if placed.at == "between_knees" or (placed.at == "heels" and body.stance.view != "side"):
            (ax, ay), (bx, by) = (seen_from(point, body.stance.view)[0] for point in points)
            rise = 0.04 if placed.at == "heels" else 0.0
            yield ring(((ax + bx) / 2, (ay + by) / 2 - rise), min(largest, 0.06))
            return
        if placed.at == "face":
            yield ring((x + 0.05, y), min(largest, 0.05))
            return
        if placed.at in ("back", "upper_back", "belly", "head", "hips"):
            x = sum(seen_from(p, body.stance.view)[0][0] for p in points) / len(points)
        radius = max(0.015, min(largest, (-y - 0.03) / 2))
        yield ring((x, -radius), radius)

    return draw


def _roller(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    """Yield a roller across under a limb or the upper back, or along under the whole back."""
    if placed.at != "back":
        yield from _under(0.07)(placed, points, body)
        return
    ends_of_back = sorted(seen_from(point, body.stance.view)[0][0] for point in points)
    top = -lowest(body.points, "back")
    yield box(ends_of_back[0] - 0.12, top, ends_of_back[1] + 0.06, 0.0)


def _held_ball(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    dots = [seen_from(point, body.stance.view)[0] for point in points]
    x = sum(dot[0] for dot in dots) / len(dots)
    y = sum(dot[1] for dot in dots) / len(dots)
    yield ring((x, y), 0.06)


def _disc(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    for point in points:
        x, _ = seen_from(point, body.stance.view)[0]
        yield thin((x - 0.07, -0.004), (x + 0.07, -0.004), width=0.026)


def _wedge(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    for name in ("left", "right"):
        heel = seen_from(body.points[f"{name}_heel"], body.stance.view)[0]
        toes = seen_from(body.points[f"{name}_toes"], body.stance.view)[0]
        tip = (heel[0] + 0.7 * (toes[0] - heel[0]), 0.0)
        yield Mark(kind="box", dots=(heel, tip, (heel[0], 0.0)), width=0.01, ink=BLACK)


def _mat(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    seen = [seen_from(point, body.stance.view)[0][0] for point in body.points.values()]
    yield thin((min(seen) - 0.04, 0.008), (max(seen) + 0.04, 0.008), width=0.028)


def _aside(placed: KitPlace, points: tuple[Vector, ...], body: Placed) -> Iterator[Mark]:
    """Yield a box that stands ready beside somebody who does not stand on it now."""
    x = sum(seen_from(p, body.stance.view)[0][0] for p in points) / len(points)
    yield box(x + 0.12, -0.2, x + 0.42, 0.0)


DRAWERS: Mapping[str, Drawer] = {
    "barbell": _barbell,
    "cable": _line_to_anchor,
    "dumbbells": _dumbbells,
    "foam_roller": _roller,
    "heel_wedge": _wedge,
    "kettlebell": _kettlebell,
    "long_band": _band,
    "massage_ball": _under(0.035),
    "mat": _mat,
    "medicine_ball": _held_ball,
    "mini_band": _band,
    "sliding_disc": _disc,
    "soft_ball": _under(0.06),
    "stability_ball": _under(0.2),
    "step_box": _aside,
    "stick": _stick,
    "suspension_straps": _line_to_anchor,
}
"""Kit id -> how it is drawn; bench, box and bar are surfaces."""
