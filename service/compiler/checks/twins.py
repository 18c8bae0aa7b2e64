"""The prior of a cause and its twin make a probability for none, one side and both.

A twin of at least the prior is enough: 2p - p twin, the chance of either side, is then at most
1 - (1 - p) squared, so what is left for none is never negative.
"""

from collections.abc import Iterator

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import CauseRecord

CHECK = "twins"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each cause whose `prior` and `twin` do not fit together."""
    for cause in draft.every.causes.values():
        for field, wrong, do in _faults(cause):
            yield draft.fault("causes", cause.id, field, check=CHECK, wrong=wrong, do=do)


def _faults(cause: CauseRecord) -> Iterator[tuple[str, str, str]]:
    if not 0 < cause.prior < 1:
        yield "prior", f"is {cause.prior}, which no evidence could move", "keep it between 0 and 1"
    if cause.id != f"{cause.stem}.{cause.mode}":
        yield "id", f"is not `{cause.stem}.{cause.mode}`", "make id, stem and mode agree"
    if not cause.sided:
        if cause.twin:
            yield "twin", "is given for a cause without sides", "take it out"
        return
    if cause.twin < cause.prior:
        wrong = f"is {cause.twin}, less than the prior {cause.prior}: sides would repel each other"
        yield "twin", wrong, "raise it to the prior or more"
