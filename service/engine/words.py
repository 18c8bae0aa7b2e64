"""Sentences from codes: the last thing that happens to an answer, in the language asked for.

Apart from the reasons because ids, numbers and the decision are the same in every language.
"""

from collections.abc import Mapping

from service.engine.kept import Bounded, Keeper
from service.engine.languages import ENGLISH, language_of
from service.model.answer import Because
from service.model.graph import Graph
from service.model.quantities import Side, Unit

UNITS: Mapping[str, str] = {"%": "percent", "%BW": "bodyweight", "mm[Hg]": "mmhg"}
"""Units whose sign is no part of a text's id."""
KEPT_AT_MOST = 4096
"""Sentences, and reasons, that are kept in each language: about a MiB each."""


class Words:
    """Renders codes with the texts of one language, English where a language lacks a code.

    `kept` are sentences and `reasons` reasons by what they are made of, a code first; all words of
    a graph and a language share them. The pack alone says them: nothing that was sent is kept.
    """

    def __init__(self, graph: Graph, language: str | None) -> None:
        self.language = language_of(language, graph)
        self._texts: Mapping[str, str] = graph.texts[self.language]
        self._english: Mapping[str, str] = graph.texts[ENGLISH]
        said = _SAID.of(graph)
        if self.language not in said:
            said[self.language] = Bounded(KEPT_AT_MOST), Bounded(KEPT_AT_MOST)
        self.kept, self.reasons = said[self.language]

    def say(self, code: str, **values: object) -> str:
        """Return the sentence of a code with its values in place.

        A code that no text defines raises KeyError: the compiler checks that there is none.
        """
        template = self._texts.get(code) or self._english[code]
        return template.format_map(values)

    def name(self, name: str) -> str:
        """Return a record's name as it stands inside a sentence."""
        if self.language != ENGLISH:
            # other languages write their names as they stand in a sentence
            return name
        return name if name[1:2].isupper() else name[:1].lower() + name[1:]

    def side(self, side: Side) -> str:
        """Return the words for a side, with their leading space, or nothing."""
        return self.plain(f"side_{side}") if side != "none" else ""

    def unit(self, unit: Unit) -> str:
        """Return a unit as it is read."""
        return self.plain(f"unit_{UNITS.get(unit, unit)}")

    def plain(self, code: str) -> str:
        """Return the sentence of a code without values."""
        return self.kept.get(code) or self.kept.keep(code, self.say(code))

    def per_cent(self, part: float) -> str:
        """Return a part of one as whole per cent."""
        return f"{round(part * 100)} %"

    def weeks(self, count: int) -> str:
        """Return a number of weeks as it stands after "in about"."""
        return self.plain("weeks_one") if count == 1 else self.say("weeks_many", count=count)

    def number(self, value: float) -> str:
        """Return a number without needless digits."""
        plain = f"{value:.1f}".rstrip("0").rstrip(".")
        return plain.replace(".", self.say("decimal_mark"))


def _nothing_said(_graph: Graph) -> dict[str, tuple[Bounded[str], Bounded[Because]]]:
    return {}


_SAID = Keeper(_nothing_said)
