"""One eye for each movement and view of a finding, better than guessing, with one leak."""

from collections.abc import Iterator

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import FindingRecord

CHECK = "eyes"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each eye given twice, each useless eye, and leaks that differ by view."""
    for finding in draft.every.findings.values():
        for field, wrong, do in _faults(finding):
            yield draft.fault("findings", finding.id, field, check=CHECK, wrong=wrong, do=do)
    for movement in draft.live.movements.values():
        for n, look in enumerate(movement.look_for):
            found = draft.every.findings.get(look.finding)
            if found is None:
                continue
            for view in look.views:
                if not any(movement.id in e.movements and view in e.views for e in found.eyes):
                    yield draft.fault(
                        "movements",
                        movement.id,
                        f"look_for[{n}]",
                        check=CHECK,
                        wrong=f"looks for `{look.finding}` from the {view}, where it has no eye",
                        do="give the finding an eye there or take the view out",
                    )
        if movement.watched and movement.enough > len({k.finding for k in movement.look_for}):
            yield draft.fault(
                "movements",
                movement.id,
                "enough",
                check=CHECK,
                wrong=f"asks for {movement.enough} looks, more than `look_for` lists",
                do="list more or ask for fewer",
            )


def _faults(finding: FindingRecord) -> Iterator[tuple[str, str, str]]:
    seen: set[tuple[str, str]] = set()
    leaks: dict[str, float] = {}
    for n, eye in enumerate(finding.eyes):
        at = f"eyes[{n}]"
        if eye.sensitivity + eye.specificity <= 1:
            yield at, "sees no better than guessing", "sensitivity and specificity sum above 1"
        for movement in eye.movements:
            for view in eye.views:
                if (movement, view) in seen:
                    wrong = f"is a second eye for `{movement}` from the {view}"
                    yield at, wrong, "keep one"
                seen.add((movement, view))
            if leaks.setdefault(movement, eye.leak) != eye.leak:
                wrong = f"gives `{movement}` a second leak, {eye.leak} beside {leaks[movement]}"
                yield f"{at}.leak", wrong, "the leak belongs to the event: make them equal"
