"""From what is likely to what matters for the target: weights of causes, and the verdict.

Apart from inference because weights depend on the target and on the grade, beliefs do not.
"""

from collections.abc import Mapping

from service.engine.kept import Keeper
from service.engine.read import Reading, Seen
from service.engine.rules import rule_of
from service.model.graph import Graph
from service.model.network import LEFT, Posterior
from service.model.quantities import MICRO, Side, Verdict
from service.model.records import Leaf

TRAINABLE = ("range", "control")
LEARNT = ("skill", "stance")


class Weighing(Leaf, frozen=True, kw_only=True):
    """How much each cause matters today, and what follows.

    `by_side[(variable, mask)]`, `by_cause[variable]` (both sides together) and `lean[variable]`
    (left minus right) are in millionths of what was seen of the target. `masses` are the parts of
    what is explained by range and control (`train`), by skill and stance (`practise`), by build.
    """

    verdict: Verdict
    by_side: Mapping[tuple[int, int], int]
    by_cause: tuple[int, ...]
    lean: tuple[int, ...]
    masses: Mapping[str, float]
    unexplained: float
    worked: frozenset[str]
    failed: frozenset[str]
    not_kept: bool
    """The change that worked did not last unprompted."""
    enough: bool
    untried: bool
    """Training would be called for, if anything had been tried, measured or seen besides."""


def weigh(reading: Reading, posterior: Posterior, graph: Graph) -> Weighing:
    """Return the weights W_i = sum_f weight(f) share(i, f) / sum_f weight(f), and the verdict."""
    by_side, unexplained = _weights(reading, posterior, graph)
    kinds, variables = _KINDS.of(graph), graph.network.variables
    by_cause = [0] * len(variables)
    lean = [0] * len(variables)
    sums = {"train": 0, "practise": 0, "build": 0}
    for (variable, mask), weight in by_side.items():
        by_cause[variable] += weight
        sums[kinds[variable]] += weight
        if variables[variable].sided:
            lean[variable] += weight if mask == LEFT else -weight
    total = sum(by_side.values())
    masses = {k: round(v / total, 9) if total else 0.0 for k, v in sums.items()}
    worked, failed, not_kept = _trials(reading)
    enough = _enough(reading, graph)
    verdict = _verdict(reading, posterior, graph, masses, not_kept, enough)
    untried = verdict == "train" and not _tried(reading, graph)
    return Weighing(
        verdict="unsure" if untried else verdict,
        by_side=by_side,
        by_cause=tuple(by_cause),
        lean=tuple(lean),
        masses=masses,
        unexplained=unexplained,
        worked=worked,
        failed=failed,
        not_kept=not_kept,
        enough=enough,
        untried=untried,
    )


def _weights(
    reading: Reading, posterior: Posterior, graph: Graph
) -> tuple[dict[tuple[int, int], int], float]:
    """Return weights in millionths by (variable, mask), and the part that nothing explains."""
    total = unexplained = 0.0
    sums: dict[tuple[int, int], float] = {}
    touched = touched_by(graph)
    for sighting, said in zip(reading.evidence.sightings, posterior.sightings, strict=True):
        relevance = sighting.relevance
        if said is None or relevance <= 0:
            continue
        total += relevance
        unexplained += relevance * said.leak_only
        for where, part in zip(touched[sighting.event], said.parents, strict=True):
            sums[where] = sums.get(where, 0.0) + relevance * part.share
    if not total:
        return {}, 0.0
    scaled = [(where, round(round(sums[where] / total, 9) * MICRO)) for where in sorted(sums)]
    return {k: v for k, v in scaled if v > 0}, round(unexplained / total, 9)


def _kinds(graph: Graph) -> tuple[str, ...]:
    """Return for each variable which of the masses its cause is a part of."""
    modes = [graph.causes[one.id].mode for one in graph.network.variables]
    return tuple(
        [
            "train" if mode in TRAINABLE else "practise" if mode in LEARNT else "build"
            for mode in modes
        ]
    )


_KINDS = Keeper(_kinds)


def _trials(reading: Reading) -> tuple[frozenset[str], frozenset[str], bool]:
    """Return the changes that helped, those that only failed, and if what cured did not last."""
    helped: dict[str, set[bool | None]] = {}
    tried: set[str] = set()
    for seen in reading.positives:
        for trial in seen.trials:
            tried.add(trial.change)
            if trial.result in ("gone", "better"):
                helped.setdefault(trial.change, set()).add(trial.repeats)
    lasting = [change for change, kept in helped.items() if kept - {False}]
    return frozenset(helped), frozenset(tried - helped.keys()), bool(helped) and not lasting


def _enough(reading: Reading, graph: Graph) -> bool:
    """Say if as many findings that matter for the target were looked at as its record asks."""
    if reading.target is None:
        return False
    weights, events = graph.weights[reading.target], graph.events
    looked = {
        events[seen.event].finding
        for kind in (reading.positives, reading.negatives)
        for seen in kind
        if weights[seen.event] > 0
    }
    return len(looked) >= max(1, graph.movements[reading.target].enough)


def _tried(reading: Reading, graph: Graph) -> bool:
    """Say if more than one bare look stands behind the findings, as the rule asks."""
    looked = [
        seen
        for seen, sighting in zip(reading.positives, reading.evidence.sightings, strict=True)
        if sighting.relevance > 0
    ]
    findings = {graph.events[seen.event].finding for seen in looked}
    return (
        len(findings) >= rule_of(graph, "try_before_training").numbers["looks"]
        or any(seen.trials for seen in looked)
        or bool(reading.measured or reading.known)
    )


def _verdict(
    reading: Reading,
    posterior: Posterior,
    graph: Graph,
    masses: Mapping[str, float],
    not_kept: bool,
    enough: bool,
) -> Verdict:
    numbers = graph.decision
    if not any(
        probability_present(seen, said.leak_only) > numbers.present_from
        for seen, said, sighting in zip(
            reading.positives, posterior.sightings, reading.evidence.sightings, strict=True
        )
        if said is not None and sighting.relevance > 0
    ):
        return "nothing_found" if enough else "unsure"
    if masses["practise"] >= numbers.practise_from and not not_kept:
        return "practise"
    if masses["train"] >= numbers.train_from:
        return "train"
    return "unsure"


def probability_present(seen: Seen, leak_only: float) -> float:
    """Return the probability that the finding is really there, given the screen."""
    return round(1 - leak_only * (1 - seen.really), 9)


def side_of(mask: int, sided: bool) -> Side:
    """Return the name of a mask."""
    if not sided:
        return "none"
    return "left" if mask == LEFT else "right"


def belief(states: tuple[float, ...], mask: int) -> float:
    """Return P(present on the side of the mask) from a variable's state probabilities."""
    if len(states) == 2:
        return round(states[1], 9)
    return round(states[mask] + states[3], 9)


def touched_by(graph: Graph) -> tuple[tuple[tuple[int, int], ...], ...]:
    """Return for each event the (variable, mask) of its parents, in their order."""
    return _TOUCHED.of(graph)


def _parents(graph: Graph) -> tuple[tuple[tuple[int, int], ...], ...]:
    events = graph.network.events
    return tuple([tuple([(p.variable, p.mask) for p in event.parents]) for event in events])


_TOUCHED = Keeper(_parents)
