"""What an alert or a caution asks can hold, and a caution that holds takes something away."""

from collections.abc import Iterator

from service.compiler.draft import Draft, Kind
from service.model.errors import PackFault
from service.model.knowledge import AlertRecord, CautionRecord, Closes, Fact

CHECK = "facts"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each fact that is empty or can never hold, and each idle caution."""
    records: list[tuple[Kind, AlertRecord | CautionRecord]] = [
        *(("alerts", r) for r in draft.every.alerts.values()),
        *(("cautions", r) for r in draft.every.cautions.values()),
    ]
    for kind, record in records:
        for n, facts in enumerate(record.when):
            if not facts:
                yield draft.fault(
                    kind,
                    record.id,
                    f"when[{n}]",
                    check=CHECK,
                    wrong="asks nothing and would hold for everyone",
                    do="add a fact or take it out",
                )
            for k, fact in enumerate(facts):
                for field, wrong, do in _faults(fact):
                    at = f"when[{n}][{k}].{field}" if field else f"when[{n}][{k}]"
                    yield draft.fault(kind, record.id, at, check=CHECK, wrong=wrong, do=do)
    for caution in draft.every.cautions.values():
        idle = caution.closes == Closes() and not caution.demands_clearance
        if idle and caution.refers is None:
            yield draft.fault(
                "cautions",
                caution.id,
                "closes",
                check=CHECK,
                wrong="closes nothing, demands nothing and refers nobody",
                do="say what it takes away",
            )


def _faults(fact: Fact) -> Iterator[tuple[str, str, str]]:
    if fact == Fact():
        yield "", "is empty and would hold for everyone", "name what must hold"
    if fact.measure is None and (fact.at_least is not None or fact.at_most is not None):
        yield "measure", "is missing beside a limit", "name the measure"
    if fact.measure is not None and fact.at_least is None and fact.at_most is None:
        yield "measure", f"`{fact.measure}` has no limit", "give at_least or at_most"
    if fact.at_least is not None and fact.at_most is not None and fact.at_least > fact.at_most:
        yield "at_least", "is above at_most and never holds", "swap them"
    if fact.age_from is not None and fact.age_to is not None and fact.age_from > fact.age_to:
        yield "age_from", "is above age_to and never holds", "swap them"
    if fact.condition is None and (fact.cleared is not None or fact.within_weeks is not None):
        yield "condition", "is missing beside `cleared` or `within_weeks`", "name the condition"
    if fact.within_weeks is not None and fact.within_weeks < 0:
        yield "within_weeks", "is below 0", "give weeks"
    if fact.pain_from is not None and not 1 <= fact.pain_from <= 10:
        yield "pain_from", f"is {fact.pain_from}", "use 1 to 10"
