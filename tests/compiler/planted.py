"""Faults of many kinds, planted in a copy of the shipped pack, each with what must be said of it.

Apart from the test that plants them, because a kind of fault is data: where it fits, what is
written instead, and what the report must then name.
"""

import random
import re
from collections.abc import Iterator
from pathlib import Path
from shutil import copytree

from msgspec import Struct

from service.model.graph import Graph

KNOWLEDGE = Path(__file__).parents[2] / "knowledge"
_ID = re.compile(r'^id = "([^"]+)"$', re.MULTILINE)


class Block(Struct, frozen=True, kw_only=True):
    """One record as it stands in its file."""

    kind: str
    file: str
    id: str
    text: str


class Plant(Struct, frozen=True, kw_only=True):
    """One kind of fault: in records of `kind` where `find` matches, it is replaced once."""

    name: str
    kind: str
    find: str
    replace: str
    field: str
    says: str
    count: int = 2


class Planted(Struct, frozen=True, kw_only=True):
    """A fault that was planted, and how the report must name it."""

    name: str
    file: str
    record: str
    field: str
    says: str

    def __str__(self) -> str:
        return f"{self.name}: {self.file}, {self.record or '(file)'}, {self.field or '(no field)'}"


PLANTS = (
    Plant(name="unknown field", kind="kit", find=r"^status = .*$", replace=r'\g<0>\ncolour = "red"',
          field="colour", says="no such field", count=3),
    Plant(name="missing field", kind="sources", find=r"^provenance = .*\n", replace="",
          field="provenance", says="is missing", count=3),
    Plant(name="wrong type", kind="alerts", find=r"^urgency = .*$", replace="urgency = 3",
          field="urgency", says="expected `str`"),
    Plant(name="out of bounds", kind="doses", find=r"^times_a_week = .*$",
          replace="times_a_week = 40", field="times_a_week", says="<= 14"),
    Plant(name="not finite", kind="measures", find=r"^lowest = .*$", replace="lowest = nan",
          field="lowest", says="no finite number"),
    Plant(name="unknown source", kind="drills", find=r"^sources = \[",
          replace='sources = ["smith-1900", ',
          field="sources", says="names `smith-1900`, which no file in sources/ defines", count=3),
    Plant(name="unknown cause", kind="drills", find=r'cause = "([^"]+)"', replace=r'cause = "\1x"',
          field="trains", says="which no file in causes/ defines", count=3),
    Plant(name="sides repel", kind="causes", find=r"^twin = .*$", replace="twin = 0.01",
          field="twin", says="less than the prior", count=3),
    Plant(name="estimate without words", kind="links", find=r"^reasoning = .*\n", replace="",
          field="reasoning", says="is empty although `estimate`", count=3),
    Plant(name="undated publication", kind="sources", find=r"^year = .*\n", replace="",
          field="year", says="is missing from a"),
    Plant(name="wrong relation", kind="links", find=r'^relation = "(same|opposite|either)"$',
          replace='relation = "none"', field="relation", says="`none` does not fit", count=3),
    Plant(name="second leak", kind="findings",
          find=r'(?s)views = \["front"\](.*views = \["back"\].*?)leak = [\d.]+',
          replace=r'views = ["front"]\1leak = 0.31', field="", says="a second leak, 0.31", count=1),
    Plant(name="eye that guesses", kind="findings",
          find=r"sensitivity = [\d.]+, specificity = [\d.]+",
          replace="sensitivity = 0.3, specificity = 0.5", field="eyes[0]",
          says="sees no better than guessing"),
    Plant(name="banned words", kind="drills", find=r"^good_looks_like = .*$",
          replace='good_looks_like = "Nothing drops, which prevents the worst of it."',
          field="good_looks_like", says="nothing is said to be prevented", count=1),
    Plant(name="banned words", kind="causes", find=r"^means = .*$",
          replace='means = "These muscles are not activated in time."', field="means",
          says="muscles are not said to be activated"),
    Plant(name="open sentence", kind="cautions", find=r'^say = "(.*)[.]"$', replace=r'say = "\1"',
          field="say", says="does not end as a sentence"),
    Plant(name="dose of another aim", kind="drills", find=r'^dose = "(slow|strength)_control"$',
          replace='dose = "static_stretch"', field="dose", says="is a dose for range"),
    Plant(name="never holds", kind="cautions", find=r"\[\{ condition",
          replace="[{ age_from = 60, age_to = 20, condition", field="when[0][0].age_from",
          says="is above age_to and never holds"),
    Plant(name="unknown posture", kind="links", find=r'^posture = ".*"$',
          replace='posture = "squat_hip75"', field="posture", says="is no posture of the muscle"),
    Plant(name="no spread", kind="measures", find=r"sd = [\d.]+", replace="sd = 0.0",
          field="references[0].sd", says="people differ"),
    Plant(name="two owners", kind="changes", find=r'\{ a = ([\d.]+), cause = ',
          replace=r'{ a = \1, mode = "range", cause = ', field="",
          says="names 2 of `cause`, `stem`, `mode`"),
    Plant(name="falling ladder", kind="ladders", find=r'^rungs = \[\n((?:  .*\n)+)\]$',
          replace="", field="rungs", says="below", count=1),
    Plant(name="rung of nothing", kind="ladders", find=r"^rungs = \[\n",
          replace='rungs = [\n  "leap",\n',
          field="rungs", says="names `leap`"),
    Plant(name="too much to look at", kind="movements", find=r"^enough = .*$",
          replace="enough = 19", field="enough", says="more than `look_for` lists", count=1),
)  # fmt: skip


def blocks() -> Iterator[Block]:
    """Yield every record of the shipped pack as text."""
    for path in sorted(KNOWLEDGE.rglob("*.toml")):
        file = path.relative_to(KNOWLEDGE).as_posix()
        kind = file.partition("/")[0]
        head = f"[[{kind}]]\n"
        for part in path.read_text(encoding="utf-8").split(head)[1:]:
            found = _ID.search(part)
            if found and ('status = "live"' in part or kind == "sources"):
                yield Block(kind=kind, file=file, id=found[1], text=part)


def plant_all(to: Path, seed: int, graph: Graph) -> tuple[Planted, ...]:
    """Return what was planted in a copy of the shipped pack; one fault a record at most."""
    copytree(KNOWLEDGE, to)
    chance = random.Random(seed)
    free = list(blocks())
    chance.shuffle(free)
    planted: list[Planted] = []
    for plant in PLANTS:
        for _ in range(plant.count):
            block, text = _next(free, plant, graph)
            free.remove(block)
            _write(to / block.file, block.text, text)
            planted.append(
                Planted(
                    name=plant.name,
                    file=block.file,
                    record=block.id,
                    field=plant.field,
                    says=plant.says,
                )
            )
    return (*planted, *_said_twice(to, free), *_retired(to, free, graph), *_files(to))


def _next(free: list[Block], plant: Plant, graph: Graph) -> tuple[Block, str]:
    """Return a record that the fault fits, and its text with the fault."""
    for block in free:
        if block.kind == plant.kind and _fits(plant, block, graph):
            if plant.name == "falling ladder":
                return block, _reversed(block.text)
            text, n = re.subn(plant.find, plant.replace, block.text, count=1, flags=re.MULTILINE)
            if n:
                return block, text
    raise AssertionError(f"no record left for: {plant.name}")


def _fits(plant: Plant, block: Block, graph: Graph) -> bool:
    if plant.name == "falling ladder":
        levels = [graph.drills[rung].level for rung in graph.ladders[block.id].rungs]
        return levels[0] != levels[-1]
    if plant.name == "out of bounds":
        # a dose that cannot be read keeps quiet the check of every drill that uses it
        return block.id.startswith("transfer")
    if plant.name == "undated publication":
        return 'kind = "publication"' in block.text or 'kind = "guideline"' in block.text
    if plant.name in ("wrong relation", "unknown posture", "estimate without words"):
        return '"estimate"' in block.text
    return True


def _reversed(text: str) -> str:
    found = re.search(r"^rungs = \[\n((?:  .*\n)+)\]$", text, re.MULTILINE)
    assert found
    rungs = found[1].splitlines(keepends=True)
    return text.replace(found[1], "".join(reversed(rungs)))


def _write(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")


def _said_twice(to: Path, free: list[Block]) -> Iterator[Planted]:
    """Give three drills the cue of one whose id comes before theirs."""
    drills = sorted((b for b in free if b.kind == "drills"), key=lambda b: b.id)
    (cue,) = re.findall(r"^cue = .*$", drills[0].text, re.MULTILINE)
    for block in drills[1:4]:
        _write(to / block.file, block.text, re.sub(r"(?m)^cue = .*$", lambda _: cue, block.text))
        free.remove(block)
        yield Planted(name="said twice", file=block.file, record=block.id, field="cue",
                      says=f"as `{drills[0].id}` does")  # fmt: skip


def _retired(to: Path, free: list[Block], graph: Graph) -> Iterator[Planted]:
    """Retire a piece of kit that drills use: the report names each drill that does."""
    for block in free:
        users = [d.id for d in graph.drills.values() if any(block.id in one for one in d.kit)]
        if block.kind == "kit" and users:
            retired = block.text.replace('status = "live"', 'status = "retired"')
            _write(to / block.file, block.text, retired)
            (file,) = {b.file for b in blocks() if (b.kind, b.id) == ("drills", users[0])}
            yield Planted(name="retired", file=file, record=users[0], field="kit",
                          says=f"still uses `{block.id}`, which is retired")  # fmt: skip
            return


FILES: tuple[tuple[str, str, str, str, str, str], ...] = (
    ("no TOML", "kit/zz_broken.toml", '[[kit]\nid = "x"\n', "", "", "is not TOML"),
    ("two of one id", "doses/zz_again.toml", '[[doses]]\nid = "hold_control"\n', "hold_control",
     "id", "this id already stands in doses/"),
    ("out of order", "sources/zz_order.toml",
     "".join(f'[[sources]]\nid = "{name}"\nkind = "practice"\ncitation = "Own."\n'
             'provenance = "own"\n\n' for name in ("zz-b", "zz-a")),
     "zz-a", "id", "stands after `zz-b`"),
    ("no such kind", "gadgets/new.toml", "", "", "", "is no kind of record"),
    ("loose file", "loose.toml", "", "", "", "lies outside any folder"),
    ("not for TOML", "kit/notes.txt", "beams\n", "", "", "is not a .toml file"),
)  # fmt: skip


def _files(to: Path) -> Iterator[Planted]:
    for name, file, text, record, field, says in FILES:
        path = to / file
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
        where = "gadgets/" if file.startswith("gadgets/") else file
        yield Planted(name=name, file=where, record=record, field=field, says=says)
