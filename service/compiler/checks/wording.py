"""What is served says nothing that the project does not claim, and is cleanly written.

Titles in sources/ are quotations of others and stand apart.
"""

import re
from collections.abc import Iterator

import msgspec

from service.compiler.checks.strings import strings_of
from service.compiler.draft import Draft
from service.model.errors import PackFault

CHECK = "wording"
BANNED: tuple[tuple[str, str], ...] = (
    (r"\binjury[- ]risk|\brisks? of (an )?injur(y|ies)\b", "no injury risk is claimed or denied"),
    (r"\bprevent(s|ed|ing|ion)?\b", "nothing is said to be prevented"),
    (r"\bactivat(e|es|ed|ing|ion)\b", "muscles are not said to be activated"),
    (r"\bswitch(es|ed|ing)? (\w+ ){0,3}on\b", "muscles are not said to be switched on"),
    (r"\bq[- ]angle\b", "that angle is not used"),
    (r"\b(over|under)[- ]?active\b", "muscles are not sorted into opposed columns"),
    (r"\bguarantee(s|d)?\b", "nothing is promised"),
)
SENTENCES = frozenset(
    ("advice", "ask", "cue", "good_looks_like", "means", "say", "stop_when", "touch_cue")
)
_BANNED = tuple((re.compile(pattern, re.IGNORECASE), why) for pattern, why in BANNED)
_ANY = re.compile("|".join(pattern for pattern, _ in BANNED), re.IGNORECASE)


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each banned phrase, empty text, stray space and open sentence."""
    for kind, record in draft.every.each():
        for field, text in strings_of(msgspec.to_builtins(record)):
            for wrong, do in _faults(field, text):
                yield draft.fault(kind, record.id, field, check=CHECK, wrong=wrong, do=do)
    for key, template in draft.every.texts.items():
        for wrong, do in _faults("text", template.text):
            yield draft.fault("texts", key, "text", check=CHECK, wrong=wrong, do=do)


def _faults(field: str, text: str) -> Iterator[tuple[str, str]]:
    for pattern, why in _BANNED if _ANY.search(text) else ():
        found = pattern.search(text)
        if found is not None:
            yield f"says `{found.group()}`: {why}", "say what is seen or done instead"
    # a template may be a part of a sentence, and reasoning may have paragraphs
    loose = field in ("reasoning", "text")
    if "  " in text or (not loose and (text != text.strip() or "\n" in text)):
        yield "has stray spaces or line breaks", "single spaces, none at the ends"
    if field in SENTENCES and text and not text.rstrip("”\"')").endswith((".", "!", "?")):
        yield "does not end as a sentence", "end it with a full stop"
