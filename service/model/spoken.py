"""What of each record is said in an answer, and the ids of the texts that say it elsewhere.

Apart from the records because the compiler asks a second language for these texts, and the
engine puts them in place.
"""

from collections.abc import Mapping
from types import MappingProxyType

SPOKEN: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "alerts": ("ask", "say"),
        "causes": ("name", "advice", "wrong_when"),
        "cautions": ("name", "say"),
        "changes": ("name", "how"),
        "findings": ("looks_like", "name"),
        "kit": ("name",),
        "measures": ("name",),
        "movements": ("how", "name"),
        "muscles": ("name",),
        "rules": ("say",),
    }
)
"""Fields of each kind that an answer says; a text's id is `kind.record.field`."""


def does_id(cause: str, muscle: str) -> str:
    """Return the id of the text that says what a muscle of a cause does."""
    return f"causes.{cause}.does.{muscle}"


def how_id(measure: str, method: str) -> str:
    """Return the id of the text that says how a method is done."""
    return f"measures.{measure}.how.{method}"
