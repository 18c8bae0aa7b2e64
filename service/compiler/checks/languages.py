"""A second language is whole: every code and every spoken field has its text, and none is spare.

What a gym adds on top (kit, alerts, cautions) is said as it wrote it, in every language; that the
shipped pack lacks no text of these kinds is held by a test.
"""

import string
from collections.abc import Iterator

from service.compiler.draft import Draft, Records
from service.model.errors import PackFault
from service.model.knowledge import CauseRecord, MeasureRecord, Record
from service.model.spoken import SPOKEN, does_id, how_id

CHECK = "languages"
ENGLISH = "en"
ADDED_BY_GYMS = frozenset(("alerts", "cautions", "kit"))
"""Kinds of which an overlay may add records."""


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each text that a language lacks, has to spare, or fills differently."""
    languages: dict[str, dict[str, str]] = {}
    for key, text in draft.every.texts.items():
        languages.setdefault(key.partition("/")[0], {})[text.id] = text.text
    english = languages.pop(ENGLISH, {})
    owed, known = _owed(draft.live), _owed(draft.every)
    for language, texts in sorted(languages.items()):
        wanted = english | {k: v for k, v in owed.items() if not _optional(k)}
        for key in sorted(wanted.keys() - texts.keys()):
            wrong, do = "has no text in this language", "add it"
            yield _fault(draft, language, key, wrong, do)
        for key in sorted(texts.keys() - english.keys() - known.keys()):
            wrong, do = "is the text of nothing that is said", "take it out, or correct its id"
            yield _fault(draft, language, key, wrong, do)
        for key in sorted(texts.keys() & english.keys()):
            if _fields(texts[key]) != _fields(english[key]):
                wrong = "does not hold the same values in braces as the English text"
                yield _fault(draft, language, key, wrong, "use the same names")


def _owed(records: Records) -> dict[str, str]:
    """Return what each record says in an answer, by the id of its text."""
    found: dict[str, str] = {}
    for kind, record in records.each():
        for field in SPOKEN.get(kind, ()):
            text: str = getattr(record, field)
            if text:
                found[f"{kind}.{record.id}.{field}"] = text
        found |= dict(_parts(record))
    return found


def _parts(record: Record) -> Iterator[tuple[str, str]]:
    if isinstance(record, CauseRecord):
        for muscle in record.muscles:
            yield does_id(record.id, muscle.muscle), muscle.does
    elif isinstance(record, MeasureRecord):
        for method in record.methods:
            yield how_id(record.id, method.id), method.how


def _optional(key: str) -> bool:
    return key.partition(".")[0] in ADDED_BY_GYMS


def _fields(template: str) -> set[str]:
    # a width or a conversion is no part of any code, so that it shows as a wrong place
    parsed = string.Formatter().parse(template)
    return {f"{name}{spec or ''}{turn or ''}" for _, name, spec, turn in parsed if name}


def _fault(draft: Draft, language: str, key: str, wrong: str, do: str) -> PackFault:
    return draft.fault("texts", f"{language}/{key}", "id", check=CHECK, wrong=wrong, do=do)
