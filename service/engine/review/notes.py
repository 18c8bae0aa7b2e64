"""What is said of a review as a whole: pain that rose, nothing that changed, and whom to see.

Apart from the parts because these look across all of them, and come first.
"""

from collections.abc import Iterator, Mapping

from msgspec.structs import replace

from service.engine.reasons import NOTHING
from service.engine.review.drills import WEEK, Changed
from service.engine.safety import URGENCIES
from service.engine.words import Words
from service.model.answer import Because, Referral
from service.model.graph import Graph
from service.model.knowledge import RuleRecord
from service.model.quantities import RegionId, Side
from service.model.review import FindingReview, MeasureReview, ReviewRequest
from service.model.screen import Pain

KINDS = (
    "cause_stays", "drill_pain", "finding_change", "no_change", "over_correction", "pain_rose",
    "real_change",
)  # fmt: skip
"""The rules of a review; `rung_progression` it shares with the weeks ahead."""


def rules_of(graph: Graph) -> Mapping[str, RuleRecord]:
    """Return the rules of the pack by kind."""
    return {rule.kind: rule for rule in graph.rules.values()}


def notes_of(
    request: ReviewRequest, changed: Changed, graph: Graph, words: Words
) -> Iterator[Because]:
    """Yield what has to be said beside the parts, pain first."""
    rules = rules_of(graph)

    def note(kind: str, text: str) -> Because:
        rule = rules[kind]
        return replace(NOTHING, code=kind, text=text, rule=rule.id, sources=rule.sources)

    for before, pain in risen(request, graph):
        said = words.say(
            "review_pain_rose",
            region=words.say(f"region_{pain.region}"),
            side=words.side(pain.side),
            was=before,
            now=pain.score,
        )
        yield note("pain_rose", said)
    over: dict[tuple[str, str], list[FindingReview]] = {}
    for one in changed.findings:
        if one.over_corrected:
            over.setdefault((one.movement, one.finding), []).append(one)
    for twins in over.values():
        first = twins[0]
        yield replace(
            note("over_correction", rules["over_correction"].say),
            movement=first.movement,
            view=first.view,
            finding=first.finding,
            side="both" if len(twins) > 1 else first.side,
        )
    if nothing_changed(changed, graph):
        yield note("no_change", rules["no_change"].say)


def risen(request: ReviewRequest, graph: Graph) -> Iterator[tuple[int, Pain]]:
    """Yield the pains of the retest that are clearly more than at the baseline, and those then."""
    if request.baseline.client.pain is None:
        return
    numbers = rules_of(graph)["pain_rose"].numbers
    before: dict[tuple[str, str], int] = {}
    for pain in request.baseline.client.pain:
        key: tuple[str, str] = (pain.region, pain.side)
        before[key] = max(before.get(key, 0), pain.score)
    after: dict[tuple[str, str], Pain] = {}
    for pain in request.retest.client.pain or ():
        key = (pain.region, pain.side)
        if key not in after or pain.score > after[key].score:
            after[key] = pain
    for key in sorted(after):
        score = after[key].score
        if score >= numbers["from"] and score - before.get(key, 0) >= numbers["points"]:
            yield before.get(key, 0), after[key]


def nothing_changed(changed: Changed, graph: Graph) -> bool:
    """Say if all that was compared is as it was, after the longest time that a change takes."""
    numbers = rules_of(graph)["no_change"].numbers
    longest = max(numbers[mode] for mode in ("control", "range", "skill", "stance"))
    if changed.days is None or changed.days < WEEK * longest:
        return False
    compared = bool(changed.findings) or any(m.real_change is not None for m in changed.measures)
    moved = any(f.outcome != "unchanged" for f in changed.findings) or any(
        m.real_change for m in changed.measures
    )
    return compared and not moved


def referrals_with(
    notes: tuple[Because, ...],
    request: ReviewRequest,
    graph: Graph,
    today: tuple[Referral, ...],
) -> tuple[Referral, ...]:
    """Return the referrals of the retest and those that the rules of a review add."""
    rules = rules_of(graph)
    found = [*today]
    for _, pain in risen(request, graph):
        found += _refer(rules["pain_rose"], pain.region, pain.side)
    stop = rules["drill_pain"].numbers["stop_from"]
    for pain in pain_in_drills(request, graph):
        if pain.score >= stop:
            found += _refer(rules["drill_pain"], pain.region, "none")
    late = rules["no_change"].numbers["refer_after_weeks"] * WEEK
    if any(note.code == "no_change" for note in notes) and (request.days_between or 0) >= late:
        found += _refer(rules["no_change"], None, "none")
    return tuple(
        sorted(found, key=lambda r: (URGENCIES.index(r.urgency), r.id, r.region or "", r.side))
    )


def _refer(rule: RuleRecord, region: RegionId | None, side: Side) -> Iterator[Referral]:
    if rule.refers is not None:
        yield Referral(
            id=rule.id,
            region=region,
            side=side,
            urgency=rule.refers,
            text=rule.say,
            sources=rule.sources,
        )


def summary_of(
    findings: tuple[FindingReview, ...],
    measures: tuple[MeasureReview, ...],
    half: float,
    words: Words,
) -> str:
    """Return one or two sentences: the findings, then the measurements that moved.

    A finding counts as changed from a probability of `half`.
    """
    if not findings and not measures:
        return words.say("review_summary_nothing")
    parts = []
    if findings:
        clear = [f.outcome for f in findings if f.probability >= half]
        kinds = {"improved": clear.count("improved")}
        kinds["worse"] = clear.count("worse") + clear.count("new")
        code = "same"
        if kinds["improved"] and kinds["worse"]:
            code = "both"
        elif kinds["improved"]:
            code = "improved" if kinds["improved"] == len(findings) else "some_improved"
        elif kinds["worse"]:
            code = "worse"
        parts.append(words.say(f"review_summary_{code}"))
    if measures:
        real = sum(m.real_change is True for m in measures)
        parts.append(words.say(f"review_summary_{'measured' if real else 'noise'}"))
    return " ".join(parts)


def pain_in_drills(request: ReviewRequest, graph: Graph) -> tuple[Pain, ...]:
    """Return the pain that drills gave, in the region each works on, by region."""
    least = rules_of(graph)["drill_pain"].numbers["easier_from"]
    worst: dict[RegionId, int] = {}
    for one in request.done:
        if one.drill in graph.drills and (one.pain or 0) >= least:
            region = graph.drills[one.drill].region
            worst[region] = max(worst.get(region, 0), one.pain or 0)
    return tuple(Pain(region=r, score=worst[r], when="during") for r in sorted(worst))
