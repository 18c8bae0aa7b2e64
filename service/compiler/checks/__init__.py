"""One rule a file; the tuples below are the only lists of them.

`width` alone is run by the compiler itself, since it needs the network.
"""

from collections.abc import Callable, Iterator

from service.compiler.checks import (
    aims,
    cutoffs,
    cycles,
    decision,
    declares,
    distinct,
    doses,
    eyes,
    facts,
    helpers,
    holds,
    ladders,
    languages,
    links,
    measures,
    muscles,
    opposites,
    persistence,
    poses,
    reachability,
    references,
    retired,
    rules,
    sorting,
    sources,
    targets,
    twins,
    vocabulary,
    wording,
)
from service.compiler.draft import Draft
from service.model.errors import PackFault

Check = Callable[[Draft], Iterator[PackFault]]

CHECKS: tuple[Check, ...] = (
    aims.check,
    cycles.check,
    decision.check,
    declares.check,
    distinct.check,
    doses.check,
    eyes.check,
    facts.check,
    helpers.check,
    holds.check,
    ladders.check,
    languages.check,
    links.check,
    measures.check,
    muscles.check,
    opposites.check,
    persistence.check,
    poses.check,
    reachability.check,
    references.check,
    retired.check,
    sorting.check,
    sources.check,
    targets.check,
    twins.check,
    wording.check,
)

WHOLE_PACK_CHECKS: tuple[Check, ...] = (cutoffs.check, rules.check, vocabulary.check)
"""What a pack made for a test may go without."""
