"""The catalogue and the problems as pages that a person reads; the same records as the JSON."""

import re
from collections.abc import Iterable, Mapping

import msgspec
from msgspec import Struct

from service.model.graph import Graph
from service.web.catalog import RECORDS, CatalogKind
from service.web.pages.html import render
from service.web.problems import PROBLEMS, ProblemType

CATALOG = "/v1/catalog"
SPOKEN = (
    "says",
    "looks_like",
    "how",
    "ask",
    "cue",
    "touch_cue",
    "good_looks_like",
    "stop_when",
    "errors",
    "wrong_when",
)
"""Fields that a trainer reads for; they come first, in this order."""
ELSEWHERE = ("id", "name", "poses", "status")
"""Fields that the head of the page or the picture shows; only what is live has a page."""


class Entry(Struct, frozen=True, kw_only=True):
    """A line of a list: a link, and a few words where there are any."""

    name: str
    href: str
    more: str = ""


def kinds_page(kinds: Iterable[CatalogKind]) -> bytes:
    """The kinds of record, alphabetically."""
    counted = [
        Entry(name=kind.kind, href=kind.href, more=f"{kind.count}. {_says(kind.kind)}")
        for kind in kinds
    ]
    about = "Everything the pack knows. Lists are alphabetical; drafts are not shown."
    return _list("Catalogue", about, counted, ())


def kind_page(kind: str, records: Mapping[str, Struct]) -> bytes:
    """The records of a kind by name."""
    entries = [
        Entry(name=name_of(record), href=f"{CATALOG}/{kind}/{id}") for id, record in records.items()
    ]
    entries.sort(key=lambda entry: (entry.name.lower(), entry.href))
    return _list(kind.capitalize(), _says(kind), entries, (("Catalogue", CATALOG),))


def record_page(kind: str, id: str, record: Struct, graph: Graph, *, has_picture: bool) -> bytes:
    """One record: what a trainer reads for, then the other fields that hold something."""
    path = f"{CATALOG}/{kind}/{id}"
    return render(
        "record.html",
        title=name_of(record),
        about=id,
        record=_told(record),
        links=_links(graph, path),
        picture=f"{path}/picture.svg" if has_picture else None,
        is_wide=kind == "findings",
        trail=(("Catalogue", CATALOG), (kind.capitalize(), f"{CATALOG}/{kind}")),
    ).encode()


def problems_page() -> bytes:
    """Every kind of error."""
    entries = [
        Entry(name=kind.title, href=f"/problems/{kind.type}", more=f"{kind.status}, {kind.type}")
        for kind in PROBLEMS.values()
    ]
    about = "Every error that this service answers with. None repeats what was sent."
    return _list("Problems", about, entries, ())


def problem_page(kind: ProblemType) -> bytes:
    """One kind of error: meaning, cause, fix."""
    told = {
        "Meaning": kind.meaning,
        "Cause": kind.cause,
        "What to do": kind.fix,
        "Status": kind.status,
    }
    return render(
        "record.html",
        title=kind.title,
        about=kind.type,
        record=told,
        links={},
        picture=None,
        is_wide=False,
        trail=(("Problems", "/problems"),),
    ).encode()


def name_of(record: Struct) -> str:
    """What a record is called: its name, a source's citation, or else its id."""
    for field in ("name", "citation", "id"):
        if text := getattr(record, field, ""):
            return str(text)
    return ""


def _says(kind: str) -> str:
    """What records of a kind are: how the docstring of their struct begins."""
    words = re.split(r"[.;(]", RECORDS[kind].__doc__ or "", maxsplit=1)[0]
    return f"{' '.join(words.split())}."


def _told(record: Struct) -> dict[str, object]:
    """The fields of a record that hold something; what is empty or no says nothing."""
    fields: dict[str, object] = msgspec.to_builtins(record)
    order = sorted(fields, key=lambda name: SPOKEN.index(name) if name in SPOKEN else len(SPOKEN))
    return {name: _held(fields[name]) for name in order if _is_told(fields[name], name)}


def _held(value: object) -> object:
    if isinstance(value, dict):
        return {name: _held(one) for name, one in value.items() if _is_told(one, name)}
    if isinstance(value, list | tuple):
        return [_held(one) for one in value]
    return value


def _is_told(value: object, name: str) -> bool:
    # zero is a number like any other
    return name not in ELSEWHERE and (value not in (None, "", [], {}, ()) and value is not False)


def _list(
    title: str, about: str, entries: list[Entry], trail: tuple[tuple[str, str], ...]
) -> bytes:
    return render("list.html", title=title, about=about, entries=entries, trail=trail).encode()


def _links(graph: Graph, own: str) -> dict[str, Entry]:
    """Id -> name and path of every record another may name; an id of two kinds has none."""
    found: dict[str, Entry] = {}
    twice: set[str] = set()
    for kind in ("causes", "drills", "findings", "measures", "movements", "muscles", "sources"):
        records: Mapping[str, Struct] = getattr(graph, kind)
        for id, record in records.items():
            if id in found:
                twice.add(id)
            found[id] = Entry(name=name_of(record), href=f"{CATALOG}/{kind}/{id}")
    return {id: one for id, one in found.items() if id not in twice and one.href != own}
