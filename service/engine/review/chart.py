"""A measurement over time as a small SVG: its values, and the band in which noise alone lies.

Apart from the numbers because this only draws them: black on whatever lies behind, no verdict.
"""

from html import escape

from service.engine.words import Words
from service.model.quantities import Unit
from service.model.review import MeasurePoint

WIDTH, HEIGHT = 320, 160
LEFT, RIGHT, TOP, BOTTOM = 44, 12, 30, 30


def chart(
    name: str, unit: Unit, points: list[MeasurePoint], noise: float | None, words: Words
) -> str:
    """Return the SVG. The band is the first value plus and minus the MDC95, none if unknown.

    Days not told are drawn evenly, as first, second and so on.
    """
    days = [p.day for p in points]
    told = [day for day in days if day is not None]
    xs = told if len(told) == len(days) else list(range(len(days)))
    band = noise or 0.0
    values = [p.value for p in points] + [points[0].value - band, points[0].value + band]
    low, high = min(values), max(values)
    margin = (high - low) * 0.1 or 1.0
    low, high = low - margin, high + margin

    def x(day: int) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (day - xs[0]) / ((xs[-1] - xs[0]) or 1)

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (high - value) / (high - low)

    line = " ".join(f"{x(d):.1f},{y(p.value):.1f}" for d, p in zip(xs, points, strict=True))
    title = f"{name}, {words.unit(unit)}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'font-family="sans-serif" font-size="12" fill="currentColor">',
        f"<title>{escape(title)}</title>",
        f'<text x="4" y="16">{escape(title)}</text>',
    ]
    if noise is not None:
        upper, lower = y(points[0].value + noise), y(points[0].value - noise)
        parts.append(
            f'<rect x="{LEFT}" y="{upper:.1f}" width="{WIDTH - LEFT - RIGHT}" '
            f'height="{lower - upper:.1f}" fill-opacity="0.15"/>'
        )
        where = f'x="{(LEFT + WIDTH - RIGHT) / 2:.1f}" y="{HEIGHT - 8}" text-anchor="middle"'
        parts.append(f"<text {where}>{escape(words.say('review_band'))}</text>")
    parts.append(f'<polyline points="{line}" fill="none" stroke="currentColor" stroke-width="2"/>')
    for day, point in zip(xs, points, strict=True):
        at = f'cx="{x(day):.1f}" cy="{y(point.value):.1f}"'
        parts.append(f'<circle {at} r="3.5"/>')
    for value in sorted({points[0].value, points[-1].value}):
        label = escape(words.number(value))
        parts.append(
            f'<text x="{LEFT - 6}" y="{y(value) + 4:.1f}" text-anchor="end">{label}</text>'
        )
    if len(told) == len(days):
        for day, anchor in ((xs[0], "start"), (xs[-1], "end")):
            label = escape(words.say("review_day", day=day))
            where = f'x="{x(day):.1f}" y="{HEIGHT - 8}" text-anchor="{anchor}"'
            parts.append(f"<text {where}>{label}</text>")
    return "".join((*parts, "</svg>"))
