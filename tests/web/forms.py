"""A page's form as a browser without scripts would fill it in and send it."""

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from litestar.testing import TestClient

VOID = ("input", "meta", "link", "img", "br")


@dataclass
class Form:
    """What one page holds: its fields with what stands in them, its buttons, its words."""

    text: str = ""
    title: str = ""
    given: dict[str, list[str]] = field(default_factory=dict)
    offered: dict[str, list[str]] = field(default_factory=dict)
    single: set[str] = field(default_factory=set)
    buttons: list[tuple[str, str]] = field(default_factory=list)
    ids: list[str] = field(default_factory=list)
    described: dict[str, str] = field(default_factory=dict)
    """Name of a field -> ids of what describes it, or the group that it stands in."""


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.form = Form()
        self._select = ""
        self._describing: list[str] = []
        self._open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        if "id" in told:
            self.form.ids.append(told["id"])
        if tag not in VOID:
            self._open.append(tag)
        if tag == "fieldset":
            self._describing.append(told.get("aria-describedby", ""))
        if tag == "button" and "name" in told:
            self.form.buttons.append((told["name"], told["value"]))
        if tag == "select":
            self._select = told["name"]
            self.form.single.add(self._select)
            self.form.offered.setdefault(self._select, [])
            self.form.described[self._select] = told.get("aria-describedby", "")
        if tag == "option":
            self._offer(self._select, told, "selected")
        if tag == "input":
            self._input(told)

    def _input(self, told: dict[str, str]) -> None:
        name, kind = told["name"], told.get("type", "text")
        if kind in ("checkbox", "radio"):
            if kind == "radio":
                self.form.single.add(name)
            self.form.described[name] = " ".join(self._describing).strip()
            self._offer(name, told, "checked")
        else:
            self.form.given[name] = [told.get("value", "")]
            self.form.described[name] = told.get("aria-describedby", "")

    def _offer(self, name: str, told: dict[str, str], mark: str) -> None:
        self.form.offered.setdefault(name, []).append(told["value"])
        if mark in told:
            self.form.given.setdefault(name, []).append(told["value"])

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop() != tag:
            pass
        if tag == "fieldset":
            self._describing.pop()
        if tag == "select":
            self._select = ""

    def handle_data(self, data: str) -> None:
        if self._open and self._open[-1] == "h1":
            self.form.title += data.strip()
        self.form.text += data


def form_in(html: str) -> Form:
    """The form of a page."""
    reader = _Reader()
    reader.feed(html)
    return reader.form


class Visitor:
    """Someone who fills in one page after the other."""

    def __init__(self, client: TestClient[Any], path: str = "/kiosk", **headers: str) -> None:
        self.client = client
        self.path = path
        self.headers = headers
        self.answer = client.get(path, headers=headers)
        self.form = form_in(self.answer.text)

    @property
    def at(self) -> str:
        """The step that is asked."""
        return self.form.given["at"][0] if "asked" in self.form.given else ""

    def enter(self, **fields: str | list[str]) -> None:
        """Fill fields in; dots in names are written as two underscores. What is not there fails."""
        for written, value in fields.items():
            name = written.replace("__", ".")
            values = [value] if isinstance(value, str) else value
            assert name in self.form.given or name in self.form.offered, (name, self.form.offered)
            if name in self.form.offered:
                assert set(values) <= set(self.form.offered[name]), self.form.offered[name]
            self.form.given[name] = values

    def press(self, name: str = "go", value: str = "next") -> None:
        """Send the form by one of its buttons."""
        assert (name, value) in self.form.buttons, self.form.buttons
        self.send({**self.form.given, name: [value]})

    def send(self, fields: dict[str, list[str]]) -> None:
        """Send any fields at all."""
        self.answer = self.client.post(self.path, data=fields, headers=self.headers)
        if self.answer.headers["content-type"].startswith("text/html"):
            self.form = form_in(self.answer.text)

    def go(self, **fields: str | list[str]) -> None:
        """Fill in and go on."""
        self.enter(**fields)
        self.press()
