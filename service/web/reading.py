"""Bytes to a screen, strictly: no coercion, one decode, and a refusal that says where.

Apart from the request class because the command line reads files by the same rules.
"""

from typing import Generic, TypeVar

import msgspec
from msgspec import Struct

from service.web.expected import fault_of
from service.web.problems import FieldFault, RefusalError

T = TypeVar("T", bound=Struct)

Json = dict[str, "Json"] | list["Json"] | str | int | float | bool | None
"""Any JSON value, decoded."""

_EXACT = 2**53
"""Beyond this a float no longer tells one whole number from the next."""


class Reader(Generic[T]):
    """Reads one kind of body. Of two equal keys in an object the last one counts."""

    def __init__(self, kind: type[T]) -> None:
        self._kind = kind
        self._decoder = msgspec.json.Decoder(kind)

    def read(self, raw: bytes) -> T:
        """The body as its struct, or `RefusalError` with the problem and the pointer."""
        if not raw:
            raise RefusalError("empty-body")
        try:
            return self._decoder.decode(raw)
        except msgspec.ValidationError as error:
            first = fault_of(str(error), self._kind)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            raise RefusalError(_unparsable(error)) from None
        return self._read_again(raw, first)

    def _read_again(self, raw: bytes, first: FieldFault) -> T:
        """The slow path, taken only after a fault: is it JSON at all, and is `1.0` the fault?"""
        try:
            value = whole_numbers(msgspec.json.decode(raw))
        except msgspec.ValidationError:
            # A number too large for any type: the untyped decode cannot say where.
            raise RefusalError("not-the-schema", (first,)) from None
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            raise RefusalError(_unparsable(error)) from None
        try:
            return msgspec.convert(value, self._kind, strict=True)
        except msgspec.ValidationError as error:
            fault = fault_of(str(error), self._kind)
            raise RefusalError("not-the-schema", (fault,)) from None


def whole_numbers(value: Json) -> Json:
    """The same value with every float that is a whole number as an int.

    JSON Schema counts 1.0 as an integer and the decoder does not; a field that takes any number
    takes either.
    """
    if isinstance(value, float):
        return int(value) if value.is_integer() and abs(value) < _EXACT else value
    if isinstance(value, list):
        return [whole_numbers(item) for item in value]
    if isinstance(value, dict):
        return {key: whole_numbers(item) for key, item in value.items()}
    return value


def _unparsable(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "nested-too-deeply"
    if isinstance(error, UnicodeDecodeError):
        return "not-utf8"
    return "malformed-json"
