"""Whether a contract keeps what a released one promised: what old callers send is still taken.

What old callers read must still be there. Apart from the document because it compares two of them,
whoever wrote them.

A caller must pass over fields and values of an enumeration that it does not know in an answer, and
bounds are a promise about what is taken, not about what is answered: a screen that is read back may
grow with the screen that is sent. Everything else that narrows a request or widens an answer is a
break.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import cast

from service.web.reading import Json

Object = Mapping[str, Json]

WORDS_ONLY = frozenset(
    ("description", "summary", "example", "examples", "tags", "title", "externalDocs")
)
"""Keys that promise nothing."""
_LEAST = ("minimum", "exclusiveMinimum", "minLength", "minItems")
_MOST = ("maximum", "exclusiveMaximum", "maxLength", "maxItems")


def promises(contract: Json, *, names: bool = False) -> Json:
    """A contract without its words; `names` says that the keys here are names of somebody's."""
    if isinstance(contract, dict):
        return {
            key: promises(inner, names=key in ("properties", "schemas", "parameters"))
            for key, inner in contract.items()
            if names or key not in WORDS_ONLY
        }
    if isinstance(contract, list):
        return [promises(inner) for inner in contract]
    return contract


def breaks(old: Object, new: Object) -> tuple[str, ...]:
    """What in the new contract breaks a caller of the old one, a line each, sorted."""
    return tuple(sorted(set(_Comparison(old, new).all())))


def broken_promises(released: Mapping[str, Object], new: Object) -> tuple[str, ...]:
    """What the new contract breaks of every release of its own first number, a line each.

    So is a change that has the version of the last release.
    """
    version = str(_at(new, "info").get("version"))
    held = {one: old for one, old in released.items() if _order(one)[0] == _order(version)[0]}
    told = [f"{one}: {line}" for one, old in held.items() for line in breaks(old, new)]
    last = max(held, key=_order, default=None)
    if last and _order(version) <= _order(last) and held[last] != promises(dict(new)):
        told.append(f"{last} is released and this differs: give it a higher version")
    return tuple(told)


def _order(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split("."))


class _Comparison:
    """Two contracts side by side. `small` is what may occur, `big` what must cope with it."""

    def __init__(self, old: Object, new: Object) -> None:
        self._old, self._new = old, new
        self._seen: set[tuple[str, str, bool]] = set()

    def all(self) -> Iterator[str]:
        """Every break."""
        old_paths, new_paths = _at(self._old, "paths"), _at(self._new, "paths")
        for path, methods in old_paths.items():
            for method, operation in _object(methods).items():
                here = f"{method.upper()} {path}"
                now = _at(_at(new_paths, path), method)
                if not now:
                    yield f"{here}: is gone"
                else:
                    yield from self._operation(here, _object(operation), now)

    def _operation(self, here: str, old: Object, new: Object) -> Iterator[str]:
        if old.get("operationId") != new.get("operationId"):
            yield f"{here}: another operationId"
        yield from self._parameters(here, old, new)
        old_body, new_body = _at(old, "requestBody"), _at(new, "requestBody")
        if not old_body and new_body.get("required"):
            yield f"{here}: needs a body"
        for media, content in _at(old_body, "content").items():
            now = _at(_at(new_body, "content"), media)
            if not now:
                yield f"{here}: no longer takes {media}"
            else:
                was = _at(_object(content), "schema")
                yield from self._fits(was, _at(now, "schema"), f"{here} body", answer=False)
        for status, answer in _at(old, "responses").items():
            later = _at(_at(new, "responses"), status)
            if not later:
                yield f"{here} {status}: is gone"
                continue
            was, now = self._of_old(_object(answer)), self._of_new(later)
            for media, content in _at(was, "content").items():
                schema = _at(_at(_at(now, "content"), media), "schema")
                if not schema:
                    yield f"{here} {status}: no longer {media}"
                    continue
                before = _at(_object(content), "schema")
                yield from self._fits(schema, before, f"{here} {status}", answer=True)
            for header in _at(was, "headers"):
                if header not in _at(now, "headers"):
                    yield f"{here} {status}: header `{header}` is gone"

    def _parameters(self, here: str, old: Object, new: Object) -> Iterator[str]:
        was, now = _parameters(old), _parameters(new)
        for name, parameter in was.items():
            if name not in now:
                yield f"{here}: parameter `{name}` is gone"
            else:
                schemas = _at(parameter, "schema"), _at(now[name], "schema")
                yield from self._fits(*schemas, f"{here} parameter `{name}`", answer=False)
        for name, parameter in now.items():
            required = parameter.get("required") and not was.get(name, {}).get("required")
            if required:
                yield f"{here}: parameter `{name}` is needed"

    def _of_old(self, node: Object) -> Object:
        return _resolved(self._old, node)

    def _of_new(self, node: Object) -> Object:
        return _resolved(self._new, node)

    def _fits(self, small: Object, big: Object, here: str, *, answer: bool) -> Iterator[str]:
        """Where what `small` describes is not taken by `big`; in an answer `small` is the new."""
        pair = str(small.get("$ref", "")), str(big.get("$ref", ""))
        if all(pair):
            if (*pair, answer) in self._seen:
                return
            self._seen.add((*pair, answer))
            here = pair[0].rpartition("/")[2]
        small = self._of_new(small) if answer else self._of_old(small)
        big = self._of_old(big) if answer else self._of_new(big)
        if _is_choice(small) or _is_choice(big):
            for one in _choices(small):
                yield from self._fits_one(one, _choices(big), here, answer=answer)
            return
        yield from _plain(small, big, here, answer=answer)
        yield from self._inside(small, big, here, answer=answer)

    def _fits_one(
        self, small: Object, choices: list[Object], here: str, *, answer: bool
    ) -> Iterator[str]:
        """Where one of several forms is taken by none; told against the form that is nearest."""
        found: list[list[str]] = []
        for choice in choices:
            kept = set(self._seen)
            told = list(self._fits(small, choice, here, answer=answer))
            if not told:
                return
            self._seen = kept
            found.append(told)
        yield from min(found, key=len, default=[f"{here}: a form that is not taken"])

    def _inside(self, small: Object, big: Object, here: str, *, answer: bool) -> Iterator[str]:
        needed = set(_names(big.get("required"))) - set(_names(small.get("required")))
        for name in needed:
            yield f"{here}.{name}: {'may be missing' if answer else 'is needed'}"
        ours, theirs = _at(small, "properties"), _at(big, "properties")
        was, now = (theirs, ours) if answer else (ours, theirs)
        for name in was:
            if name not in now:
                yield f"{here}.{name}: is gone"
            else:
                yield from self._fits(
                    _object(ours[name]), _object(theirs[name]), f"{here}.{name}", answer=answer
                )
        for key in ("items", "additionalProperties"):
            one, other = small.get(key), big.get(key)
            if isinstance(one, dict) and isinstance(other, dict):
                yield from self._fits(one, other, f"{here}[]", answer=answer)
        closed = big.get("additionalProperties") is False
        if closed and not answer and small.get("additionalProperties") is not False:
            yield f"{here}: takes no further fields"


def _plain(small: Object, big: Object, here: str, *, answer: bool) -> Iterator[str]:
    """Where type, values or bounds of one schema do not fit into another's."""
    types = set(_names(big.get("type")))
    types |= {"integer"} if "number" in types else set()
    if types and not set(_names(small.get("type"))) <= types:
        yield f"{here}: type {small.get('type')} instead of {big.get('type')}"
    if "enum" in big:
        more = set(map(str, _list(small.get("enum")))) - set(map(str, _list(big["enum"])))
        if "enum" not in small or (more and not answer):
            yield f"{here}: values {', '.join(sorted(more)) or 'of any kind'} are not taken"
    if answer:
        return
    for key in _LEAST:
        if key in big and not _number(small, key, -1e300) >= _number(big, key, -1e300):
            yield f"{here}: {key} {small.get(key)} against {big[key]}"
    for key in _MOST:
        if key in big and not _number(small, key, 1e300) <= _number(big, key, 1e300):
            yield f"{here}: {key} {small.get(key)} against {big[key]}"
    if "pattern" in big and small.get("pattern") != big["pattern"]:
        yield f"{here}: another pattern"


def _is_choice(schema: Object) -> bool:
    return "anyOf" in schema or "oneOf" in schema


def _choices(schema: Object) -> list[Object]:
    found = schema.get("anyOf", schema.get("oneOf"))
    return [_object(one) for one in found] if isinstance(found, list) else [schema]


def _resolved(contract: Object, node: Object) -> Object:
    while isinstance(ref := node.get("$ref"), str):
        node = contract
        for part in ref.removeprefix("#/").split("/"):
            node = _at(node, part)
    return node


def _parameters(operation: Object) -> dict[str, Object]:
    found = [_object(one) for one in _list(operation.get("parameters"))]
    return {str(one.get("name")): one for one in found}


def _number(schema: Object, key: str, otherwise: float) -> float:
    value = schema.get(key, otherwise)
    return float(value) if isinstance(value, int | float) else otherwise


def _names(value: Json) -> Iterable[str]:
    return [value] if isinstance(value, str) else [str(one) for one in _list(value)]


def _list(value: Json) -> list[Json]:
    return value if isinstance(value, list) else []


def _object(value: Json) -> Object:
    return cast(Object, value) if isinstance(value, dict) else {}


def _at(node: Object, key: str) -> Object:
    return _object(node.get(key))
