"""A contact sheet of drill pictures as one HTML page, to look at every one of them.

Run: python -m tests.figures.sheet PAGE.html [part of a drill's id or of its file's name ...]
or:  python -m tests.figures.sheet PAGE.html --postures
A headless browser makes a PNG of it:
chromium --headless --no-sandbox --screenshot=PAGE.png --window-size=1400,2000 PAGE.html
"""

import sys
from pathlib import Path

import msgspec

from service.compiler.compile import read_draft
from service.figures import picture
from service.model.graph import Graph
from service.model.pose import Pose
from tests.shipped import shipped_graph

STYLE = (
    "body{font:12px sans-serif;background:#ddd;display:flex;flex-wrap:wrap;gap:6px;margin:6px}"
    "figure{margin:0;background:#fff;width:220px;height:200px;display:flex;flex-direction:column}"
    "figcaption{padding:2px 4px}svg{flex:1;min-height:0;width:100%}"
)


def files_of_drills() -> dict[str, str]:
    """Return the file of each drill, by id."""
    draft, _ = read_draft()
    return {record: file for (kind, record), file in draft.place.items() if kind == "drills"}


def page(pictures: list[tuple[str, str]]) -> str:
    """Return the sheet of (caption, SVG)."""
    cells = [f"<figure><figcaption>{name}</figcaption>{svg}</figure>" for name, svg in pictures]
    return f"<!doctype html><meta charset=utf-8><style>{STYLE}</style>{''.join(cells)}"


def postures(graph: Graph) -> list[tuple[str, str]]:
    """Return a picture of each posture by itself."""
    any_drill = next(iter(graph.drills.values()))
    found = []
    for posture in graph.postures:
        pose = Pose(posture=posture, works=("right_leg",))
        drill = msgspec.structs.replace(any_drill, poses=(pose,), name=posture)
        with_it = msgspec.structs.replace(graph, drills={**graph.drills, drill.id: drill})
        found.append((posture, picture(with_it, drill.id, "right") or ""))
    return found


def main() -> int:
    """Write the page."""
    target, *wanted = sys.argv[1:]
    graph = shipped_graph()
    if wanted == ["--postures"]:
        pictures = postures(graph)
    else:
        files = files_of_drills()
        pictures = [
            (drill, svg)
            for drill in graph.drills
            if not wanted or any(part in drill or part in files[drill] for part in wanted)
            if (svg := picture(graph, drill, "right")) is not None
        ]
    Path(target).write_text(page(pictures))
    print(f"{len(pictures)} pictures")
    return 0


if __name__ == "__main__":
    sys.exit(main())
