"""Sentences from codes: the last thing that happens to an answer, in the language asked for.

Apart from the reasons because ids, numbers and the decision are the same in every language.
"""

from collections.abc import Mapping
from string import Formatter
from sys import intern
from typing import get_args

from service.engine.kept import Bounded, Keeper
from service.engine.languages import ENGLISH, language_of
from service.model.answer import Because
from service.model.graph import Graph
from service.model.quantities import Side, Unit

UNITS: Mapping[str, str] = {"%": "percent", "%BW": "bodyweight", "mm[Hg]": "mmhg"}
"""Units whose sign is no part of a text's id."""
SIDES: dict[str, str] = {side: f"side_{side}" for side in get_args(Side)}
"""Texts of the sides."""
KEPT_AT_MOST = 4096
"""Sentences, and reasons, that are kept in each language: about a MiB each."""


class Sentence:
    """A text of the pack taken apart: what stands before its first field, then field and text."""

    def __init__(self, template: str) -> None:
        self.first = ""
        self.fields: list[str] = []
        self.after: list[str] = []
        for text, field, _, _ in Formatter().parse(template):
            if self.fields:
                self.after[-1] += text
            else:
                self.first += text
            if field is not None:
                # like the names of values, so that they are the same objects
                self.fields.append(intern(field))
                self.after.append("")

    def filled(self, values: dict[str, object]) -> str:
        """Return the sentence with its values in place; KeyError where one is missing."""
        parts, after = [self.first], self.after
        for n, field in enumerate(self.fields):
            value = values[field]
            parts.append(value if isinstance(value, str) else str(value))
            parts.append(after[n])
        return "".join(parts)


class Spoken:
    """What a pack says in one language, as far as it was asked: all words of the two share it.

    `sentences` are by code; names of records by id, as they stand inside a sentence.
    """

    def __init__(self, graph: Graph, language: str) -> None:
        self.graph = graph
        self.texts: Mapping[str, str] = graph.texts[language]
        self.english: Mapping[str, str] = graph.texts[ENGLISH]
        self.sentences: dict[str, Sentence] = {}
        self.kept: Bounded[str] = Bounded(KEPT_AT_MOST)
        self.reasons: Bounded[Because] = Bounded(KEPT_AT_MOST)
        own = language != ENGLISH
        self.causes = {c.id: _inside(c.name, own) for c in graph.causes.values()}
        self.movements = {m.id: _inside(m.name, own) for m in graph.movements.values()}
        self.findings = {f.id: _inside(f.name, own) for f in graph.findings.values()}
        self.changes = {c.id: _inside(c.name, own) for c in graph.changes.values()}


def _inside(name: str, as_it_is: bool) -> str:
    if as_it_is or name[1:2].isupper():
        return name
    return name[:1].lower() + name[1:]


class Words:
    """Renders codes with the texts of one language, English where a language lacks a code.

    `kept` are sentences and `reasons` reasons by what they are made of, a code first; all words of
    a graph and a language share them. The pack alone says them: nothing that was sent is kept.
    """

    def __init__(self, graph: Graph, language: str | None) -> None:
        self.language = language_of(language, graph)
        known = _SPOKEN.of(graph)
        spoken = known.get(self.language)
        if spoken is None:
            spoken = known[self.language] = Spoken(graph, self.language)
        self.spoken = spoken
        self.kept = spoken.kept
        self.reasons = spoken.reasons

    def say(self, code: str, **values: object) -> str:
        """Return the sentence of a code with its values in place.

        A code that no text defines raises KeyError: the compiler checks that there is none.
        """
        sentence = self._sentence(code)
        return sentence.filled(values) if sentence.fields else sentence.first

    def _sentence(self, code: str) -> Sentence:
        spoken = self.spoken
        sentence = spoken.sentences.get(code)
        if sentence is None:
            sentence = Sentence(spoken.texts.get(code) or spoken.english[code])
            spoken.sentences[code] = sentence
        return sentence

    def name(self, name: str) -> str:
        """Return a record's name as it stands inside a sentence."""
        # other languages write their names as they stand in a sentence
        return _inside(name, self.language != ENGLISH)

    def cause(self, cause: str) -> str:
        """Return the name of a cause of the pack as it stands inside a sentence."""
        return self.spoken.causes[cause]

    def movement(self, movement: str) -> str:
        """Return the name of a movement of the pack as it stands inside a sentence."""
        return self.spoken.movements[movement]

    def finding(self, finding: str) -> str:
        """Return the name of a finding of the pack as it stands inside a sentence."""
        return self.spoken.findings[finding]

    def change(self, change: str) -> str:
        """Return the name of a change of the pack as it stands inside a sentence."""
        return self.spoken.changes[change]

    def side(self, side: Side) -> str:
        """Return the words for a side, with their leading space, or nothing."""
        return self.plain(SIDES[side]) if side != "none" else ""

    def unit(self, unit: Unit) -> str:
        """Return a unit as it is read."""
        return self.plain(f"unit_{UNITS.get(unit, unit)}")

    def plain(self, code: str) -> str:
        """Return the sentence of a code without values."""
        sentence = self._sentence(code)
        return sentence.filled({}) if sentence.fields else sentence.first

    def per_cent(self, part: float) -> str:
        """Return a part of one as whole per cent."""
        return f"{round(part * 100)} %"

    def weeks(self, count: int) -> str:
        """Return a number of weeks as it stands after "in about"."""
        return self.plain("weeks_one") if count == 1 else self.say("weeks_many", count=count)

    def number(self, value: float) -> str:
        """Return a number without needless digits."""
        plain = f"{value:.1f}".rstrip("0").rstrip(".")
        return plain.replace(".", self.plain("decimal_mark"))


def _nothing_said(_graph: Graph) -> dict[str, Spoken]:
    return {}


_SPOKEN = Keeper(_nothing_said)
