"""The rules of a pack by their kind, found once for the pack.

Apart from its users because each of them asks for one rule and all of them on every request.
"""

from collections.abc import Mapping

from service.engine.kept import Keeper
from service.model.graph import Graph
from service.model.knowledge import RuleRecord


def rule_of(graph: Graph, kind: str) -> RuleRecord:
    """Return the first rule of a kind; the compiler checks that there is one."""
    return _RULES.of(graph)[kind]


def _by_kind(graph: Graph) -> Mapping[str, RuleRecord]:
    found: dict[str, RuleRecord] = {}
    for rule in graph.rules.values():
        found.setdefault(rule.kind, rule)
    return found


_RULES = Keeper(_by_kind)
