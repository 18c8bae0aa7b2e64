"""What became of each finding: improved, unchanged, worse or new, under an eye that errs.

Apart from measurements because a look has a chance of being wrong, and not a spread.
"""

from collections.abc import Iterator, Mapping

from msgspec import Struct

from service.engine.read import Reading, Seen
from service.engine.words import Words
from service.model.graph import EyeNumbers, Graph
from service.model.quantities import Grade
from service.model.review import FindingReview, Outcome

GRADES: tuple[Grade, ...] = ("absent", "mild", "marked")
OUTCOMES: tuple[Outcome, ...] = ("unchanged", "improved", "worse", "new")
"""Ties go to the first."""
DIGITS = 9
Likelihoods = tuple[float, float, float]
"""P(a look | absent, mild, marked)."""


class Looks(Struct, frozen=True, kw_only=True, gc=False):
    """What the looks of two screens have in common, by event, and what only one of them has."""

    both: tuple[tuple[Seen, Seen], ...]
    only_first: tuple[Seen, ...]
    only_last: tuple[Seen, ...]


def looks_of(first: Reading, last: Reading) -> Looks:
    """Return the looks at the same event side by side, in the order of events."""
    before = {seen.event: seen for seen in (*first.positives, *first.negatives)}
    after = {seen.event: seen for seen in (*last.positives, *last.negatives)}
    return Looks(
        both=tuple((before[e], after[e]) for e in sorted(before.keys() & after.keys())),
        only_first=tuple(before[e] for e in sorted(before.keys() - after.keys())),
        only_last=tuple(after[e] for e in sorted(after.keys() - before.keys())),
    )


def findings_of(
    looks: Looks, last: Reading, graph: Graph, words: Words
) -> tuple[FindingReview, ...]:
    """Return a review of every finding that both screens looked for and one of them saw."""
    seen_now = {seen.event for seen in last.positives}
    return tuple(_reviews(looks, seen_now, graph, words))


def _reviews(
    looks: Looks, seen_now: set[int], graph: Graph, words: Words
) -> Iterator[FindingReview]:
    numbers = next(r for r in graph.rules.values() if r.kind == "finding_change").numbers
    seen_before = {first.event for first, _ in looks.both if first.positive}
    for first, last in looks.both:
        if not first.positive and not last.positive:
            continue
        key = graph.events[first.event]
        eyes = [graph.eyes[key.movement, key.finding, look.view] for look in (first, last)]
        outcome, probability = outcome_of(
            likelihoods(eyes[0], first.grade, numbers), likelihoods(eyes[1], last.grade, numbers)
        )
        sure, half = words.per_cent(probability), graph.decision.present_from
        twin = _opposite(first.event, graph)
        over = first.positive and not last.positive and twin in seen_now and twin not in seen_before
        text = words.say(
            f"review_finding_{outcome}",
            movement=words.name(graph.movements[key.movement].name),
            finding=words.name(graph.findings[key.finding].name),
            side=words.side(key.side),
            sure=sure if probability >= half else words.say("review_unsure", percent=sure),
        )
        yield FindingReview(
            movement=key.movement,  # type: ignore[arg-type]
            view=last.view,
            finding=key.finding,  # type: ignore[arg-type]
            side=key.side,
            was=first.grade,  # type: ignore[arg-type]
            now=last.grade,  # type: ignore[arg-type]
            outcome=outcome,
            probability=probability,
            over_corrected=over,
            text=text,
        )


def _opposite(event: int, graph: Graph) -> int | None:
    """Return the event of the opposite finding on the same side, if there is one."""
    key = graph.events[event]
    other = graph.findings[key.finding].opposite
    return graph.event_of.get((key.movement, other, key.side)) if other else None


def outcome_of(before: Likelihoods, after: Likelihoods) -> tuple[Outcome, float]:
    """Return the most probable outcome and its probability.

    Beforehand a change and no change are equally likely, and so are the three grades that may
    have stayed and the six ways to change: posterior = prior x both likelihoods, summed.
    """
    sums = dict.fromkeys(OUTCOMES, 0.0)
    for was, one in enumerate(before):
        for now, other in enumerate(after):
            if was == now:
                sums["unchanged"] += one * other / 6
            else:
                kind: Outcome = "improved" if now < was else "worse" if was else "new"
                sums[kind] += one * other / 12
    total = sum(sums.values())
    parts = {kind: round(value / total, DIGITS) for kind, value in sums.items()}
    best = max(OUTCOMES, key=lambda kind: parts[kind])
    return best, parts[best]


def likelihoods(eye: EyeNumbers, grade: str, numbers: Mapping[str, int]) -> Likelihoods:
    """Return P(the grade told | absent, mild, marked) for one eye."""
    mixed = numbers["mixed_percent"] / 100
    false = 1 - eye.specificity
    missed = 1 - eye.sensitivity
    missed_marked = missed * numbers["missed_percent"] / 100
    false_mild = numbers["false_mild_percent"] / 100
    told: dict[str, Likelihoods] = {
        "absent": (eye.specificity, missed, missed_marked),
        "mild": (false * false_mild, (1 - missed) * (1 - mixed), (1 - missed_marked) * mixed),
        "marked": (
            false * (1 - false_mild),
            (1 - missed) * mixed,
            (1 - missed_marked) * (1 - mixed),
        ),
    }
    return told[grade]
