"""Every string of a record with the field it stands in, for checks of words.

Apart from those checks because two of them walk the same way. Not a check itself.
"""

from collections.abc import Iterator


def strings_of(value: object, at: str = "") -> Iterator[tuple[str, str]]:
    """Yield (dotted field, text) for every string in a value of tables, lists and numbers."""
    if isinstance(value, str):
        yield at, value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from strings_of(inner, f"{at}.{key}" if at else str(key))
    elif isinstance(value, list | tuple):
        for n, inner in enumerate(value):
            yield from strings_of(inner, f"{at}[{n}]")
