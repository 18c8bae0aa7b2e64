"""A measure hangs together: its methods, its plausible range, its references, what it says."""

from collections.abc import Iterator

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import MeasureRecord, Method, Reference

CHECK = "measures"
_Found = Iterator[tuple[str, str, str]]


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each number of a measure that cannot be meant."""
    for measure in draft.every.measures.values():
        for field, wrong, do in _faults(measure):
            yield draft.fault("measures", measure.id, field, check=CHECK, wrong=wrong, do=do)


def _faults(measure: MeasureRecord) -> _Found:
    if measure.lowest >= measure.highest:
        wrong = f"is {measure.lowest}, not below `highest` {measure.highest}"
        yield "lowest", wrong, "swap or correct them"
    methods = [method.id for method in measure.methods]
    if measure.default_method not in methods:
        wrong = f"`{measure.default_method}` is none of its methods"
        yield "default_method", wrong, f"use one of {', '.join(methods)}"
    if len(set(methods)) < len(methods):
        yield "methods", "has one id twice", "rename one"
    for method in measure.methods:
        yield from _of_method(method)
    for n, reference in enumerate(measure.references):
        for field, wrong, do in _of_reference(reference, measure, methods):
            yield f"references[{n}].{field}", wrong, do
    if measure.silent and measure.speaks_for:
        yield "speaks_for", "is given although `silent` says it carries no weight", "keep one"
    if measure.speaks_for and not measure.references:
        yield "references", "is empty although the measure speaks for causes", "add a reference"
    for n, speaks in enumerate(measure.speaks_for):
        if speaks.shift == 0:
            yield f"speaks_for[{n}].shift", "is 0 and says nothing", "give the shift or drop it"


def _of_method(method: Method) -> _Found:
    for field in ("sem", "sem_other", "mdc95", "mdc95_other"):
        value: float | None = getattr(method, field)
        if value is not None and value <= 0:
            yield f"methods[{method.id}].{field}", f"is {value}", "an error is more than 0"


def _of_reference(reference: Reference, measure: MeasureRecord, methods: list[str]) -> _Found:
    if reference.sd <= 0:
        yield "sd", f"is {reference.sd}", "people differ: more than 0"
    if not measure.lowest <= reference.mean <= measure.highest:
        yield "mean", f"{reference.mean} is outside lowest to highest", "correct one of them"
    if (
        reference.age_from is not None
        and reference.age_to is not None
        and reference.age_from > reference.age_to
    ):
        wrong = f"is {reference.age_from}, above `age_to` {reference.age_to}"
        yield "age_from", wrong, "swap them"
    if reference.method is not None and reference.method not in methods:
        wrong = f"`{reference.method}` is none of the measure's methods"
        yield "method", wrong, f"use one of {', '.join(methods)}"
