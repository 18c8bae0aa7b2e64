"""From one TOML table to one record, with every fault in it named rather than the first alone.

Apart from reading files because it knows types, not folders.
"""

import datetime
import math
from collections.abc import Iterator
from types import UnionType
from typing import Annotated, TypeVar, Union, get_args, get_origin, get_type_hints

import msgspec
from msgspec import Struct

Wrong = tuple[str, str]
"""Field (dotted, with `[n]` for the n-th of a list, counted from 0), and what is wrong there."""

R = TypeVar("R")
_DATES = (datetime.date, datetime.datetime, datetime.time)


def non_finite(raw: object, at: str = "") -> Iterator[Wrong]:
    """Yield every `nan` and `inf`: TOML has them, and no field here means them."""
    if isinstance(raw, float) and not math.isfinite(raw):
        yield at, f"is {raw}, no finite number"
    elif isinstance(raw, dict):
        for key, inner in raw.items():
            yield from non_finite(inner, _join(at, str(key)))
    elif isinstance(raw, list):
        for n, inner in enumerate(raw):
            yield from non_finite(inner, f"{at}[{n}]")


def convert(raw: object, wanted: type[R]) -> R:
    """Return a value of the wanted type, or raise msgspec.ValidationError at its first fault."""
    return msgspec.convert(raw, wanted, builtin_types=_DATES, str_keys=True)


def _try(raw: object, wanted: object) -> None:
    """Raise msgspec.ValidationError where convert would; takes any type form, such as a union."""
    msgspec.convert(
        raw,
        wanted,
        builtin_types=_DATES,
        str_keys=True,
    )


def faults_of(raw: object, wanted: object, at: str = "") -> Iterator[Wrong]:
    """Yield every fault of a raw value, field by field and element by element."""
    wanted = _plain(wanted)
    if isinstance(wanted, type) and issubclass(wanted, Struct) and isinstance(raw, dict):
        yield from _of_table(raw, wanted, at)
        return
    element = _element(wanted)
    if element is not None and isinstance(raw, list):
        inner = [
            fault for n, one in enumerate(raw) for fault in faults_of(one, element, f"{at}[{n}]")
        ]
        if inner:
            yield from inner
            return
    try:
        _try(raw, wanted)
    except msgspec.ValidationError as error:
        yield at, _worded(error)


def _of_table(raw: dict[str, object], wanted: type[Struct], at: str) -> Iterator[Wrong]:
    fields = {field.name: field for field in msgspec.structs.fields(wanted)}
    types = get_type_hints(wanted, include_extras=True)
    for key in sorted(raw.keys() - fields.keys()):
        yield _join(at, key), f"no such field; known here: {', '.join(sorted(fields))}"
    for name, field in fields.items():
        if name in raw:
            here = raw[name]
            try:
                _try(here, types[name])
            except msgspec.ValidationError:
                yield from faults_of(here, types[name], _join(at, name))
        elif field.required:
            yield _join(at, name), "is missing"


def _plain(wanted: object) -> object:
    """Return the type without bounds on its length and without `| None`.

    Only where a struct or a list of them is inside: bounds of a plain value must stay.
    """
    if get_origin(wanted) is Annotated and _element(get_args(wanted)[0]) is None:
        return wanted
    if get_origin(wanted) in (Union, UnionType):
        rest = [part for part in get_args(wanted) if part is not type(None)]
        return rest[0] if len(rest) == 1 else wanted
    return wanted


def _element(wanted: object) -> object | None:
    """Return the element type of a tuple of any length, or None for any other type."""
    if get_origin(wanted) is Annotated:
        wanted = get_args(wanted)[0]
    arguments = get_args(wanted)
    if get_origin(wanted) is tuple and len(arguments) == 2 and arguments[1] is Ellipsis:
        element: object = arguments[0]
        return element
    return None


def _join(at: str, name: str) -> str:
    return f"{at}.{name}" if at else name


def _worded(error: msgspec.ValidationError) -> str:
    """Return msgspec's message in the style of ours: lower first letter, path at the end."""
    text = str(error)
    return text[0].lower() + text[1:]
