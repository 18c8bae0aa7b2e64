"""What belongs at a place of the request body, said in our own words from the types themselves.

The decoder's messages repeat what the caller sent; here only its path is taken from them.
"""

import re

from msgspec import Struct, inspect

from service.web.problems import FieldFault

_PATH = re.compile(r" - at `(?:key in )?\$(?P<path>[^`]*)`\Z", re.DOTALL)
_PART = re.compile(r"\.(?P<name>[a-z0-9_]+)|\[(?P<index>\d+)\]")
_MISSING = re.compile(r"Object missing required field `(?P<name>[a-z0-9_]+)`")


def fault_of(message: str, kind: type[Struct]) -> FieldFault:
    """The pointer of a decoder's message, and what the contract has at that place.

    For an unknown field the pointer names the object that holds it. Paths hold only field names
    of ours and positions, because the decoder stops at the first name that it does not know.
    """
    parts = _parts(message)
    pointer = "".join(f"/{part}" for part in parts)
    missing = _MISSING.match(message)
    if missing:
        detail = f"the object needs the field `{missing['name']}`"
    elif message.startswith("Object contains unknown field"):
        detail = "the object has a field that the contract does not know"
    else:
        detail = f"expected {describe(_at(inspect.type_info(kind), parts))}"
    return FieldFault(pointer=pointer, detail=detail)


def _parts(message: str) -> tuple[str, ...]:
    found = _PATH.search(message)
    if not found:
        return ()
    return tuple(part["name"] or part["index"] for part in _PART.finditer(found["path"]))


def _at(here: inspect.Type, parts: tuple[str, ...]) -> inspect.Type:
    """The type at a path; a null in a union is stepped over on the way."""
    for part in parts:
        here = _not_null(here)
        if isinstance(here, inspect.StructType):
            here = next(field.type for field in here.fields if field.encode_name == part)
        elif isinstance(here, inspect.VarTupleType):
            here = here.item_type
    return here


def _not_null(here: inspect.Type) -> inspect.Type:
    if isinstance(here, inspect.Metadata):
        return _not_null(here.type)
    if isinstance(here, inspect.UnionType):
        return next(_not_null(one) for one in here.types if not isinstance(one, inspect.NoneType))
    return here


def describe(what: inspect.Type) -> str:
    """What a value of this type looks like, in a few words."""
    if isinstance(what, inspect.Metadata):
        return describe(what.type)
    if isinstance(what, inspect.UnionType):
        return f"{describe(_not_null(what))}, or null"
    if isinstance(what, inspect.LiteralType):
        return "one of: " + ", ".join(str(value) for value in what.values)
    if isinstance(what, inspect.IntType):
        return f"a whole number{_range(what.ge, what.le, ' from ', ' to ')}"
    if isinstance(what, inspect.FloatType):
        return f"a number{_range(what.ge, what.le, ' from ', ' to ')}"
    if isinstance(what, inspect.StrType):
        return f"text{_counted(what.min_length, what.max_length, 'characters')}"
    if isinstance(what, inspect.VarTupleType):
        return f"a list{_counted(what.min_length, what.max_length, 'entries')}"
    if isinstance(what, inspect.BoolType):
        return "true or false"
    return "an object"


def _range(low: float | None, high: float | None, before: str, between: str) -> str:
    if low is None or high is None:
        return ""
    return f"{before}{low:g}{between}{high:g}"


def _counted(low: int | None, high: int | None, noun: str) -> str:
    if high is None:
        return ""
    return f" of {low} to {high} {noun}" if low else f" of at most {high} {noun}"
