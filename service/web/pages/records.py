"""The catalogue and the problems as pages that a person reads; the same records as the JSON."""

from collections.abc import Iterable, Mapping

import msgspec
from msgspec import Struct

from service.model.graph import Graph
from service.web.catalog import CatalogKind
from service.web.pages.html import render
from service.web.problems import PROBLEMS, ProblemType

CATALOG = "/v1/catalog"


class Entry(Struct, frozen=True, kw_only=True):
    """A line of a list: a link, and a few words where there are any."""

    name: str
    href: str
    more: str = ""


def kinds_page(kinds: Iterable[CatalogKind]) -> bytes:
    """The kinds of record, alphabetically."""
    counted = [
        Entry(name=kind.kind, href=kind.href, more=f"{kind.count} records") for kind in kinds
    ]
    about = "Everything the pack knows. Lists are alphabetical; drafts are not shown."
    return _list("Catalogue", about, counted, (), CATALOG)


def kind_page(kind: str, records: Mapping[str, Struct]) -> bytes:
    """The records of a kind by name."""
    entries = [
        Entry(name=name_of(record), href=f"{CATALOG}/{kind}/{id}") for id, record in records.items()
    ]
    entries.sort(key=lambda entry: (entry.name.lower(), entry.href))
    return _list(kind.capitalize(), "", entries, (("Catalogue", CATALOG),), f"{CATALOG}/{kind}")


def record_page(kind: str, id: str, record: Struct, graph: Graph, *, has_picture: bool) -> bytes:
    """One record, field by field, with links to the records it names."""
    path = f"{CATALOG}/{kind}/{id}"
    return render(
        "record.html",
        title=name_of(record),
        record=msgspec.to_builtins(record),
        links=_links(graph, path),
        picture=f"{path}/picture.svg" if has_picture else None,
        trail=(("Catalogue", CATALOG), (kind.capitalize(), f"{CATALOG}/{kind}")),
        path=path,
    ).encode()


def problems_page() -> bytes:
    """Every kind of error."""
    entries = [
        Entry(name=kind.title, href=f"/problems/{kind.type}", more=f"{kind.status}, {kind.type}")
        for kind in PROBLEMS.values()
    ]
    about = "Every error that this service answers with. None repeats what was sent."
    return _list("Problems", about, entries, (), "/problems")


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
        record=told,
        links={},
        picture=None,
        trail=(("Problems", "/problems"),),
        path=f"/problems/{kind.type}",
    ).encode()


def name_of(record: Struct) -> str:
    """What a record is called: its name, a source's citation, or else its id."""
    for field in ("name", "citation", "id"):
        if text := getattr(record, field, ""):
            return str(text)
    return ""


def _list(
    title: str, about: str, entries: list[Entry], trail: tuple[tuple[str, str], ...], path: str
) -> bytes:
    return render(
        "list.html", title=title, about=about, entries=entries, trail=trail, path=path
    ).encode()


def _links(graph: Graph, own: str) -> dict[str, str]:
    """Id -> path of every record that another record may name; an id of two kinds has none."""
    found: dict[str, str] = {}
    twice: set[str] = set()
    for kind in ("causes", "drills", "findings", "measures", "movements", "muscles", "sources"):
        records: Mapping[str, Struct] = getattr(graph, kind)
        for id in records:
            if id in found:
                twice.add(id)
            found[id] = f"{CATALOG}/{kind}/{id}"
    return {id: path for id, path in found.items() if id not in twice and path != own}
