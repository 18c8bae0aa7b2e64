"""What differs between two versions of a pack, record by record and field by field.

Apart from the answers that change with it, because records can be compared without deciding
anything.
"""

from collections.abc import Iterator, Mapping
from typing import Literal

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from service.compiler.draft import AnyRecord, Draft
from service.compiler.read import KINDS, live_of

Scalar = str | int | float | bool | None
"""A value as written; null where the field is not there."""

NAMED_BY = ("id", "cause", "muscle", "finding", "motion", "posture", "mode", "stem")
"""Fields by which an entry of a list is told from its neighbours, where they can."""

MANIFEST_KIND = "manifest"


class FieldChange(Struct, frozen=True, kw_only=True):
    """One field with its old and its new value; null where it is not there."""

    field: str
    old: Scalar
    new: Scalar


class RecordChange(Struct, frozen=True, kw_only=True):
    """One record that is not the same in both packs, with its fields in alphabetical order."""

    kind: str
    record: str
    change: Literal["added", "changed", "removed"]
    fields: tuple[FieldChange, ...]


def record_changes(old: Draft, new: Draft) -> tuple[RecordChange, ...]:
    """Return every record that differs, in order of kind and id, the manifest first.

    Records are compared as written, drafts and retired ones too, whatever file they stand in.
    """
    found = []
    fields = _fields(flat(old.manifest), flat(new.manifest))
    if fields:
        found.append(RecordChange(kind=MANIFEST_KIND, record="", change="changed", fields=fields))
    for kind in KINDS:
        before, after = old.every.of(kind), new.every.of(kind)
        for key in sorted({*before, *after}):
            change = _change(before.get(key), after.get(key))
            if change is not None:
                found.append(replace(change, kind=kind, record=key))
    return tuple(found)


def _change(old: AnyRecord | None, new: AnyRecord | None) -> RecordChange | None:
    if old == new:
        return None
    fields = _fields({} if old is None else flat(old), {} if new is None else flat(new))
    what: Literal["added", "changed", "removed"] = "changed"
    if old is None or new is None:
        what = "added" if old is None else "removed"
    return RecordChange(kind="", record="", change=what, fields=fields)


def _fields(old: Mapping[str, Scalar], new: Mapping[str, Scalar]) -> tuple[FieldChange, ...]:
    return tuple(
        FieldChange(field=name, old=old.get(name), new=new.get(name))
        for name in sorted({*old, *new})
        if old.get(name) != new.get(name)
    )


def flat(record: Struct) -> dict[str, Scalar]:
    """Return dotted field -> value; entries of lists stand in brackets, by name where they can.

    A list of nothing but words is one value, the words joined by commas.
    """
    return dict(_flat(msgspec.to_builtins(record), ""))


def _flat(value: object, at: str) -> Iterator[tuple[str, Scalar]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(inner, f"{at}.{key}" if at else str(key))
    elif isinstance(value, list | tuple) and value and all(isinstance(v, str) for v in value):
        yield at, ", ".join(value)
    elif isinstance(value, list | tuple):
        for name, inner in zip(_names(value), value, strict=True):
            yield from _flat(inner, f"{at}[{name}]")
    elif value is None or isinstance(value, str | int | float | bool):
        yield at, value


def _names(items: list[object] | tuple[object, ...]) -> list[str]:
    """Return what tells the entries of a list apart: a field of theirs, else their place."""
    for field in NAMED_BY:
        names = [str(item.get(field)) for item in items if isinstance(item, dict)]
        if len(names) == len(items) == len(set(names)) and "None" not in names:
            return names
    return [str(n) for n in range(len(items))]


def put_back(new: Draft, old: Draft, change: RecordChange) -> Draft:
    """Return the new pack with one record (or the manifest) as it was in the old one."""
    if change.kind == MANIFEST_KIND:
        return replace(new, manifest=old.manifest)
    (kind,) = (one for one in KINDS if one == change.kind)
    records = {**new.every.of(kind)}
    records.pop(change.record, None)
    if change.record in old.every.of(kind):
        records[change.record] = old.every.of(kind)[change.record]
    every = replace(new.every, **{kind: dict(sorted(records.items()))})
    place = {**old.place, **new.place}
    return replace(new, every=every, live=live_of(every), place=place)
