"""What a page asks and what a form brings back: groups of choices, and the answers so far.

Everything that was entered travels in the page itself, in one hidden field; the service keeps
none of it. So nothing that comes back is trusted: only what a group offers is ever taken.
"""

from collections.abc import Mapping
from typing import Annotated, Literal
from urllib.parse import parse_qsl

from msgspec import Meta, Struct

from service.web.problems import FieldFault, RefusalError
from service.web.reading import Reader

MAX_FIELDS = 2000
FORM_MEDIA = "application/x-www-form-urlencoded"
Answers = Mapping[str, tuple[str, ...]]
"""Name of a group -> what was chosen or written."""

_Value = Annotated[str, Meta(max_length=64)]


class Draft(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Everything entered so far, and the language of the page."""

    language: Annotated[str, Meta(max_length=35)] = "en"
    answers: Annotated[
        dict[_Value, Annotated[tuple[_Value, ...], Meta(max_length=64)]], Meta(max_length=512)
    ] = {}


class Option(Struct, frozen=True, kw_only=True):
    """One thing to choose."""

    value: str
    label: str
    note: str = ""


class Part(Struct, frozen=True, kw_only=True):
    """Options that stand together; a legend where a group has more than one part."""

    options: tuple[Option, ...]
    legend: str = ""


class Group(Struct, frozen=True, kw_only=True):
    """One question. `given` is what stands in the form, `chosen` what of it counts."""

    name: str
    kind: Literal["list", "many", "number", "one"]
    legend: str
    note: str = ""
    parts: tuple[Part, ...] = ()
    needed: bool = True
    none: str = ""
    """The option that says that none of the others holds."""
    low: int = 0
    high: int = 0
    """Bounds of a number; how many boxes may be ticked, 0 for any number of them."""
    preset: str = ""
    """What stands there until something is entered."""
    given: tuple[str, ...] = ()

    @property
    def offered(self) -> frozenset[str]:
        """What can be chosen."""
        return frozenset(option.value for part in self.parts for option in part.options)

    @property
    def chosen(self) -> tuple[str, ...]:
        """What counts: offered options in the order given, or a number within its bounds."""
        if self.kind == "number":
            written = "".join(self.given[:1]).strip()
            fits = written.isascii() and written.isdigit() and len(written) < 6
            return (str(int(written)),) if fits and self._holds(int(written)) else ()
        kept = tuple(dict.fromkeys(one for one in self.given if one in self.offered))
        return kept if self.kind == "many" else kept[:1]

    @property
    def fault(self) -> str:
        """The code of what is wrong with the answer, or nothing."""
        if self.kind == "number":
            written = "".join(self.given[:1]).strip()
            wrong = not self.chosen and (bool(written) or self.needed)
            return "kiosk_fault_number" if wrong else ""
        if self.none in self.chosen and len(self.chosen) > 1:
            return "kiosk_fault_none_and_more"
        if self.kind == "many" and self.high and len(self.chosen) > self.high:
            return "kiosk_fault_most"
        if self.needed and not self.chosen:
            return "kiosk_fault_some" if self.kind == "many" else "kiosk_fault_one"
        return ""

    def _holds(self, number: int) -> bool:
        return self.low <= number <= self.high


class Entered(Struct, frozen=True, kw_only=True):
    """One form as it came: the answers before it, the step it is of, and its own fields."""

    draft: Draft
    at: str
    go: str
    language: str
    asked: bool
    """Whether the fields of the step were on the page; a plan shows none."""
    fields: Answers


_DRAFTS = Reader(Draft)
_OWN = ("again", "asked", "at", "draft", "go", "language")
"""Fields of every page. `again` is the way that a change of the language goes."""


def entered(body: bytes) -> Entered:
    """A form, or `RefusalError` where it cannot be one of ours."""
    try:
        pairs = parse_qsl(
            body.decode(), keep_blank_values=True, max_num_fields=MAX_FIELDS, errors="strict"
        )
    except UnicodeDecodeError:
        raise RefusalError("not-utf8") from None
    except ValueError:
        raise RefusalError("not-the-schema", (_fault("", "fewer fields"),)) from None
    fields: dict[str, tuple[str, ...]] = {}
    for name, value in pairs:
        # what is longer than any value of ours is cut, so that it can stand in the page again
        fields[name] = (*fields.get(name, ()), value[:64] if name != "draft" else value)
    one = {name: fields.get(name, ("",))[-1] for name in _OWN}
    return Entered(
        draft=_DRAFTS.read(one["draft"].encode()) if one["draft"] else Draft(),
        at=one["at"],
        go=one["go"] or one["again"],
        language=one["language"],
        asked=one["asked"] == "yes",
        fields=fields,
    )


def _fault(pointer: str, detail: str) -> FieldFault:
    return FieldFault(pointer=pointer, detail=detail)
