"""One finding with what can make it, what trains that, and what it rests on, as a picture.

A pure function from the pack to SVG. Causes stand by weight, the strongest first; what is too
much for a picture is counted, and stands in the catalogue.
"""

from collections.abc import Iterator
from textwrap import wrap
from xml.sax.saxutils import escape, quoteattr

from msgspec import Struct

from service.model.graph import Graph
from service.model.knowledge import DrillRecord, FindingRecord, LinkRecord

LINE = 19
PAD = 12
GAP = 14
TOP = 74
FINDING = (20, 210)
CAUSE = (330, 290)
DRILL = (680, 330)
SOURCE = (1050, 260)
WIDTH = 1330
"""Columns as (left edge, width), in pixels; text of 14 pixels takes some 7 a letter."""
LETTER = 7.4
BOLD_LETTER = 8.3
DRILLS_SHOWN = 3
SOURCES_SHOWN = 4
INK = "#1b1b1b"
FAINT = "#5c5c5c"


class Row(Struct, frozen=True, kw_only=True):
    """One cause of the finding: its lines of text in each column, and how strong it is."""

    strength: float
    name: tuple[str, ...]
    where: tuple[str, ...]
    drills: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def height(self) -> int:
        """Pixels that the tallest column takes."""
        lines = max(len(self.name) + len(self.where), len(self.drills), len(self.sources))
        return LINE * lines + 2 * PAD


def draw(finding: FindingRecord, graph: Graph) -> bytes:
    """The picture of a finding's neighbourhood, a whole SVG document in UTF-8."""
    rows = _rows(finding, graph)
    name = _fold(finding.name, FINDING, BOLD_LETTER)
    looks = _fold(finding.looks_like, FINDING)
    height = TOP + sum(row.height + GAP for row in rows) + 76
    middle = TOP + sum(row.height + GAP for row in rows) / 2
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" '
        f'height="{height}" role="img" aria-labelledby="title desc" '
        'font-family="system-ui, sans-serif" font-size="14">',
        f'<title id="title">{escape(finding.name)}: what can make it</title>',
        f'<desc id="desc">{escape(_told(finding, rows))}</desc>',
        f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
        *_heads(),
        *_box(FINDING, middle - _box_height(name, looks) / 2, name, looks),
        *_body(rows, middle),
        *_foot(height, graph),
        "</svg>",
    ]
    return ("\n".join(lines) + "\n").encode()


def _rows(finding: FindingRecord, graph: Graph) -> tuple[Row, ...]:
    links = [link for link in graph.links.values() if link.finding == finding.id and link.strengths]
    ranked = sorted(links, key=lambda link: (-max(link.strengths.values()), link.id))
    return tuple(_row(link, graph) for link in ranked)


def _row(link: LinkRecord, graph: Graph) -> Row:
    strongest = max(link.strengths.values())
    where = sorted(
        _inside(graph.movements[movement].name)
        for movement, strength in link.strengths.items()
        if strength == strongest
    )
    also = len(link.strengths) - len(where)
    at = f"up to {strongest:.2f}: {', '.join(where)}" + (f"; less in {also} more" if also else "")
    return Row(
        strength=strongest,
        name=_fold(graph.causes[link.cause].name, CAUSE, BOLD_LETTER),
        where=_fold(at, CAUSE),
        drills=tuple(_drill_lines(link.cause, graph)),
        sources=tuple(_source_lines(link)),
    )


def _drill_lines(cause: str, graph: Graph) -> Iterator[str]:
    drills = sorted(
        (drill for drill in graph.drills.values() if _effect(drill, cause) > 0),
        key=lambda drill: (-_effect(drill, cause), drill.id),
    )
    for drill in drills[:DRILLS_SHOWN]:
        yield from _fold(f"{drill.name} ({_effect(drill, cause):.2f})", DRILL)
    if len(drills) > DRILLS_SHOWN:
        yield f"and {len(drills) - DRILLS_SHOWN} more"
    if not drills:
        yield "no drill: " + ("accommodate it" if graph.causes[cause].advice else "none is listed")


def _effect(drill: DrillRecord, cause: str) -> float:
    return next((one.effect for one in drill.trains if one.cause == cause), 0.0)


def _source_lines(link: LinkRecord) -> Iterator[str]:
    names = sorted(link.sources)
    yield from _fold(", ".join(names[:SOURCES_SHOWN]), SOURCE)
    if len(names) > SOURCES_SHOWN:
        yield f"and {len(names) - SOURCES_SHOWN} more"
    if link.disagrees:
        yield "against the muscle table"


def _inside(name: str) -> str:
    """A name as it stands inside a sentence."""
    return name[:1].lower() + name[1:]


def _fold(text: str, column: tuple[int, int], letter: float = LETTER) -> tuple[str, ...]:
    return tuple(wrap(text, int((column[1] - 2 * PAD) / letter), break_on_hyphens=False))


def _heads() -> Iterator[str]:
    for (x, _), head in (
        (FINDING, "What is seen"),
        (CAUSE, "What can make it, strongest first"),
        (DRILL, "What trains it (effect)"),
        (SOURCE, "What the link rests on"),
    ):
        yield f'<text x="{x}" y="44" font-weight="600" fill="{INK}">{head}</text>'


def _box_height(name: tuple[str, ...], more: tuple[str, ...]) -> int:
    return LINE * (len(name) + len(more)) + 2 * PAD


def _box(
    column: tuple[int, int], y: float, name: tuple[str, ...], more: tuple[str, ...]
) -> Iterator[str]:
    x, width = column
    yield (
        f'<rect x="{x}" y="{y:.0f}" width="{width}" height="{_box_height(name, more)}" rx="6" '
        f'fill="#ffffff" stroke="{INK}"/>'
    )
    yield from _text(x + PAD, y + PAD, name, bold=True)
    yield from _text(x + PAD, y + PAD + LINE * len(name), more)


def _text(x: float, y: float, lines: tuple[str, ...], *, bold: bool = False) -> Iterator[str]:
    weight = ' font-weight="600"' if bold else ""
    for n, line in enumerate(lines):
        at = f'x="{x:.0f}" y="{y + LINE * n + 14:.0f}"'
        yield f'<text {at} fill="{INK}"{weight}>{escape(line)}</text>'


def _body(rows: tuple[Row, ...], middle: float) -> Iterator[str]:
    y = float(TOP)
    for row in rows:
        centre = y + _box_height(row.name, row.where) / 2
        start = FINDING[0] + FINDING[1]
        bend = (start + CAUSE[0]) / 2
        label = quoteattr(f"{' '.join(row.name)}, {row.strength:.2f}")
        yield (
            f'<path d="M {start} {middle:.0f} C {bend:.0f} {middle:.0f} {bend:.0f} {centre:.0f} '
            f'{CAUSE[0]} {centre:.0f}" fill="none" stroke="{FAINT}" '
            f'stroke-width="{1 + 7 * row.strength:.1f}" aria-label={label}/>'
        )
        yield from _box(CAUSE, y, row.name, row.where)
        for left, right in ((CAUSE, DRILL), (DRILL, SOURCE)):
            yield (
                f'<path d="M {left[0] + left[1]} {y + PAD + 9:.0f} H {right[0] - 8}" '
                f'stroke="{FAINT}" stroke-dasharray="2 4"/>'
            )
        yield from _text(DRILL[0], y + PAD, row.drills)
        yield from _text(SOURCE[0], y + PAD, row.sources)
        y += row.height + GAP


def _foot(height: int, graph: Graph) -> Iterator[str]:
    for n, words in enumerate(
        (
            "The thicker the line, the oftener a client with that cause alone shows the finding.",
            "Most strengths are estimates; the catalogue has every number with its reasoning.",
            f"Pack {graph.pack.version}. Nothing in it is signed off by a clinician.",
        )
    ):
        y = height - 52 + LINE * n
        yield f'<text x="20" y="{y}" fill="{FAINT}" font-size="13">{escape(words)}</text>'


def _told(finding: FindingRecord, rows: tuple[Row, ...]) -> str:
    """The picture in words, for whoever does not see it."""
    causes = "; ".join(" ".join((*row.name, *row.where)) for row in rows)
    return f"{finding.looks_like} What can make it, strongest first: {causes}."
