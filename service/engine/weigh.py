"""From what is likely to what matters for the target: weights of causes, and the verdict.

Apart from inference because weights depend on the target and on the grade, beliefs do not.
"""

from collections.abc import Mapping

from service.engine.kept import Keeper
from service.engine.read import Reading, Seen
from service.engine.rounding import rounded, whole
from service.engine.rules import rule_of
from service.model.graph import Graph
from service.model.network import LEFT, Posterior
from service.model.quantities import MICRO, Side, Verdict
from service.model.records import Leaf

TRAINABLE = ("range", "control")
LEARNT = ("skill", "stance")
MASSES = ("train", "practise", "build")


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
    kinds, sided = _KINDS.of(graph)
    by_cause = [0] * len(kinds)
    lean = [0] * len(kinds)
    sums = [0] * len(MASSES)
    for (variable, mask), weight in by_side.items():
        by_cause[variable] += weight
        sums[kinds[variable]] += weight
        if sided[variable]:
            lean[variable] += weight if mask == LEFT else -weight
    total = sum(sums)
    parts = [rounded(one / total, 9) if total else 0.0 for one in sums]
    masses = {kind: parts[n] for n, kind in enumerate(MASSES)}
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
    sums: dict[int, float] = {}
    places, told = _PLACES.of(graph), posterior.sightings
    for n, sighting in enumerate(reading.evidence.sightings):
        relevance, said = sighting.relevance, told[n]
        if said is None or relevance <= 0:
            continue
        total += relevance
        unexplained += relevance * said.leak_only
        own = places[sighting.event]
        for k, part in enumerate(said.parents):
            place = own[k]
            sums[place] = sums.get(place, 0.0) + relevance * part.share
    if not total:
        return {}, 0.0
    found: dict[tuple[int, int], int] = {}
    for place in sorted(sums):
        weight = whole(rounded(sums[place] / total, 9) * MICRO)
        if weight > 0:
            found[place >> 2, place & 3] = weight
    return found, rounded(unexplained / total, 9)


def _kinds(graph: Graph) -> tuple[tuple[int, ...], tuple[bool, ...]]:
    """Return for each variable which of the masses its cause is a part of, and if it has sides."""
    variables = graph.network.variables
    modes = [graph.causes[one.id].mode for one in variables]
    kinds = [0 if mode in TRAINABLE else 1 if mode in LEARNT else 2 for mode in modes]
    return tuple(kinds), tuple([one.sided for one in variables])


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
    looked: set[str] = set()
    for kind in (reading.positives, reading.negatives):
        for seen in kind:
            event = seen.event
            if weights[event] > 0:
                looked.add(events[event].finding)
    return len(looked) >= max(1, graph.movements[reading.target].enough)


def _tried(reading: Reading, graph: Graph) -> bool:
    """Say if more than one bare look stands behind the findings, as the rule asks."""
    if reading.measured or reading.known:
        return True
    sightings, events = reading.evidence.sightings, graph.events
    findings: set[str] = set()
    for n, seen in enumerate(reading.positives):
        if sightings[n].relevance > 0:
            if seen.trials:
                return True
            findings.add(events[seen.event].finding)
    return len(findings) >= rule_of(graph, "try_before_training").numbers["looks"]


def _verdict(
    reading: Reading,
    posterior: Posterior,
    graph: Graph,
    masses: Mapping[str, float],
    not_kept: bool,
    enough: bool,
) -> Verdict:
    numbers = graph.decision
    if not _present(reading, posterior, numbers.present_from):
        return "nothing_found" if enough else "unsure"
    if masses["practise"] >= numbers.practise_from and not not_kept:
        return "practise"
    if masses["train"] >= numbers.train_from:
        return "train"
    return "unsure"


def _present(reading: Reading, posterior: Posterior, least: float) -> bool:
    """Say if something that matters for the target is more likely really there than that."""
    sightings, told = reading.evidence.sightings, posterior.sightings
    for n, seen in enumerate(reading.positives):
        said = told[n]
        if said is None or sightings[n].relevance <= 0:
            continue
        if probability_present(seen, said.leak_only) > least:
            return True
    return False


def probability_present(seen: Seen, leak_only: float) -> float:
    """Return the probability that the finding is really there, given the screen."""
    return rounded(1 - leak_only * (1 - seen.really), 9)


def side_of(mask: int, sided: bool) -> Side:
    """Return the name of a mask."""
    if not sided:
        return "none"
    return "left" if mask == LEFT else "right"


def belief(states: tuple[float, ...], mask: int) -> float:
    """Return P(present on the side of the mask) from a variable's state probabilities."""
    if len(states) == 2:
        return rounded(states[1], 9)
    return rounded(states[mask] + states[3], 9)


def touched_by(graph: Graph) -> tuple[tuple[tuple[int, int], ...], ...]:
    """Return for each event the (variable, mask) of its parents, in their order."""
    return _TOUCHED.of(graph)


def _parents(graph: Graph) -> tuple[tuple[tuple[int, int], ...], ...]:
    events = graph.network.events
    return tuple([tuple([(p.variable, p.mask) for p in event.parents]) for event in events])


_TOUCHED = Keeper(_parents)


def _places(graph: Graph) -> tuple[tuple[int, ...], ...]:
    """Return the same as one number each, which sorts alike: 4 * variable + mask."""
    return tuple([tuple([4 * v + mask for v, mask in event]) for event in touched_by(graph)])


_PLACES = Keeper(_places)
