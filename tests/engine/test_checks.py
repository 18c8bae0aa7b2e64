"""What to check next: probabilities that are probabilities, and gains against brute force."""

import itertools
import math
from random import Random

import msgspec
import pytest

from service.engine.checks import Scored, next_checks, score
from service.engine.decide import Decided, decide
from service.engine.infer import infer
from service.engine.next_check import next_check
from service.engine.outcomes import Check, checks_of
from service.engine.plan import plan
from service.engine.read import read
from service.engine.words import Words
from service.model.answer import Answer, Session
from service.model.graph import Graph
from service.model.quantities import MICRO
from service.model.screen import (
    Client,
    Condition,
    Measurement,
    Observation,
    Options,
    Pain,
    Screen,
    Trial,
)
from service.web.shipped import examples
from tests.oracle import wide_evidence
from tests.strategies import random_screen, seeds

SEEDS = seeds(400000, 40)
CASES = 200


def settled(graph: Graph, seed: int) -> Decided | None:
    """Return the decision on a random screen with its target said, None where it refers."""
    screen = random_screen(graph, seed)
    target = read(screen, graph).target
    now = decide(msgspec.structs.replace(screen, target=target), graph)
    return now if now.weighed is not None and target is not None else None


def drawn(graph: Graph, count: int) -> list[tuple[int, Decided, Check]]:
    """Return random checks of random screens, some of every kind."""
    found: list[tuple[int, Decided, Check]] = []
    for seed in itertools.count(SEEDS.start):
        now = settled(graph, seed)
        if now is None:
            continue
        rng = Random(seed)
        kinds: dict[tuple[bool, bool], list[Check]] = {}
        for check in checks_of(now, graph):
            kind = (check.change is not None, check.measure is not None)
            kinds.setdefault(kind, []).append(check)
        found += [(seed, now, rng.choice(checks)) for checks in kinds.values()]
        if len(found) >= count:
            return found[:count]
    raise AssertionError("seeds do not end")


def session_value(session: Session | None, of: Answer, then: Decided, graph: Graph) -> int:
    """Return the value of a session under another decision, from the records alone."""
    assert then.weighed is not None
    if session is None or then.verdict == "nothing_found":
        return 0
    target, level = then.reading.target, then.screen.client.level
    sums: dict[str, int] = {}
    for step in session.steps:
        drill = graph.drills[step.drill]
        row = getattr(graph.doses[drill.dose], level)
        short = min(side.sets for side in step.sides) < row.sets
        part = row.short_effect if short else 1.0
        for trained in drill.trains:
            effect = round(trained.effect * part * MICRO)
            sums[trained.cause] = sums.get(trained.cause, 0) + effect
        over = round(drill.carries_to.get(target, 0.0) * part * MICRO)  # type: ignore[call-overload]
        sums[""] = sums.get("", 0) + over
    total = -len(session.steps) * round(graph.decision.price * MICRO)
    weights = then.weighed.weighing.by_cause
    for cause, effect in sums.items():
        if not cause:
            weight = round(graph.decision.carry_weight * MICRO)
        elif graph.causes[cause].mode == "build":
            continue
        else:
            weight = weights[graph.variable_of[cause]]
        total += weight * part_of(effect, graph) // MICRO
    return total


def part_of(effect: int, graph: Graph) -> int:
    points = graph.curve
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        if effect < x1:
            return y0 + (effect - x0) * (y1 - y0) // (x1 - x0)
    return points[-1][1]


def brute_gain(now: Decided, check: Check, graph: Graph) -> float:
    """Return the expected gain by planning every outcome, one whole answer at a time."""
    today = plan(now.screen, graph)
    base = infer(graph.network, now.reading.evidence).log_evidence
    total = weighed = 0.0
    for outcome in check.outcomes:
        answer = plan(outcome.screen, graph)
        then = decide(outcome.screen, graph)
        evidence = infer(graph.network, then.reading.evidence).log_evidence
        p = math.exp(evidence - base + outcome.log_factor)
        best = round(answer.session.value * MICRO) if answer.session else 0
        kept = 0
        if then.weighed is not None:
            kept = session_value(today.session, today, then, graph)
        total += p
        weighed += p * max(0, best - kept)
    return weighed / total / MICRO


def test_gains_equal_brute_force_over_all_outcomes(graph: Graph) -> None:
    kinds = set()
    for seed, now, check in drawn(graph, CASES):
        found = score(check, now, graph)
        assert found.gain == pytest.approx(brute_gain(now, check, graph), abs=1e-9), (
            f"seed {seed}: {check.key}"
        )
        assert found.gain >= 0 and found.bits >= 0, f"seed {seed}: {check.key}"
        kinds.add((check.change is not None, check.measure is not None))
    assert len(kinds) == 3


def parts(now: Decided, check: Check, graph: Graph) -> list[float]:
    assert now.weighed is not None
    base = now.weighed.posterior.log_evidence
    found = []
    for outcome in check.outcomes:
        evidence = read(outcome.screen, graph).evidence
        found.append(
            math.exp(infer(graph.network, evidence).log_evidence - base + outcome.log_factor)
        )
    return found


def test_the_outcomes_of_a_check_add_up_to_one_before_anything_is_scaled(graph: Graph) -> None:
    for seed, now, check in drawn(graph, CASES):
        assert now.weighed is not None
        if now.weighed.posterior.unweighed or now.weighed.posterior.unweighed_trials:
            continue
        assert math.fsum(parts(now, check, graph)) == pytest.approx(1, abs=1e-7), (
            f"seed {seed}: {check.key}"
        )


def test_probabilities_equal_those_of_sixty_digits(graph: Graph) -> None:
    held = 0
    for seed, now, check in drawn(graph, 60):
        if len(now.reading.positives) > 4 or len(check.outcomes) > 5:
            continue
        base = wide_evidence(graph.network, now.reading.evidence)
        found = score(check, now, graph)
        for possible in found.possible:
            wide = wide_evidence(graph.network, possible.decided.reading.evidence)
            p = float(wide / base) * math.exp(possible.outcome.log_factor)
            assert possible.probability == pytest.approx(p, abs=1e-7), f"seed {seed}: {check.key}"
        held += 1
    assert held >= 10


def test_bits_never_exceed_what_the_outcomes_can_tell(graph: Graph) -> None:
    for seed, now, check in drawn(graph, 60):
        found = score(check, now, graph)
        entropy = -math.fsum(
            p.probability * math.log2(p.probability) for p in found.possible if p.probability > 0
        )
        assert found.bits <= entropy + 1e-6, f"seed {seed}: {check.key}"


def test_no_check_needs_what_is_not_there(graph: Graph) -> None:
    remote = 0
    for seed in SEEDS:
        now = settled(graph, seed)
        if now is None:
            continue
        for check in checks_of(now, graph):
            assert set(check.kit) <= set(now.screen.kit), f"seed {seed}: {check.key}"
            if now.screen.setting == "remote":
                remote += 1
                assert check.measure is None, f"seed {seed}: {check.key}"
                assert check.change is None or graph.changes[check.change].remote
    assert remote > 0


SEEN = Observation(movement="squat", view="front", finding="knee_in", grade="marked", side="left")


def test_a_closed_region_is_not_asked_to_bear_load() -> None:
    from tests.shipped import shipped_graph

    graph = shipped_graph()
    pain = (Pain(region="shoulder", score=6),)
    screen = Screen(
        observations=(SEEN,), target="squat", client=Client(alerts=(), conditions=(), pain=pain)
    )
    asked = {check.movement for check in checks_of(decide(screen, graph), graph)}
    assert "overhead_squat" not in asked
    assert "squat" in asked


def test_nothing_is_checked_where_the_plan_refers(graph: Graph) -> None:
    client = Client(alerts=("calf_swelling",), conditions=(), pain=())
    answer = next_check(Screen(observations=(SEEN,), client=client), graph)
    assert answer.verdict == "refer"
    assert answer.checks == ()
    assert answer.referrals


def test_the_route_and_the_plan_say_the_same(graph: Graph) -> None:
    screen = Screen(observations=(SEEN,), options=Options(include=("next_checks",)))
    assert plan(screen, graph).next_checks == next_check(screen, graph).checks
    assert plan(msgspec.structs.replace(screen, options=Options()), graph).next_checks == ()


def test_nothing_more_to_check_is_an_answer(graph: Graph) -> None:
    decision = msgspec.structs.replace(graph.decision, least_gain=1.0)
    strict = msgspec.structs.replace(graph, decision=decision)
    screen = Screen(
        observations=(msgspec.structs.replace(SEEN, trials=()),),
        client=Client(alerts=(), conditions=(), pain=()),
    )
    now = decide(screen, strict)
    named = next_checks(now, strict, Words(strict, None))
    # an unsure verdict always names one thing to look at
    assert len(named) == (1 if now.verdict == "unsure" else 0)


def test_the_order_is_by_gain_a_minute(graph: Graph) -> None:
    answer = next_check(Screen(observations=(SEEN,)), graph)
    rates = [c.gain_per_minute for c in answer.checks if not c.settles]
    assert rates == sorted(rates, reverse=True)
    for check in answer.checks:
        assert math.fsum(o.probability for o in check.outcomes) == pytest.approx(1, abs=1e-5)


def test_a_condition_without_a_region_closes_no_look_by_itself(graph: Graph) -> None:
    told = (Condition(id="asthma", cleared=True),)
    client = Client(alerts=(), conditions=told, pain=())
    screen = Screen(observations=(SEEN,), target="squat", client=client)
    assert any(True for _ in checks_of(decide(screen, graph), graph))


def test_scores_are_the_same_in_any_order_of_the_screen(graph: Graph) -> None:
    other = msgspec.structs.replace(SEEN, finding="heel_leaves_floor", view="side", side="both")
    one = Screen(observations=(SEEN, other), target="squat")
    turned = msgspec.structs.replace(one, observations=(other, SEEN))

    def scores(screen: Screen) -> list[tuple[tuple[str, ...], float]]:
        now = decide(screen, graph)
        found: list[Scored] = [score(c, now, graph) for c in checks_of(now, graph) if c.change]
        return sorted((s.check.key, round(s.gain, 9)) for s in found)

    assert scores(one) == scores(turned)


def test_the_example_of_the_readme_has_its_first_guess_overturned_by_the_next_check(
    graph: Graph,
) -> None:
    screen = msgspec.json.decode(examples()["one_more_look"], type=Screen)
    before = plan(screen, graph)
    first = next_check(screen, graph).checks[0]
    assert before.causes[0].cause == "ankle_dorsiflexion.range"
    assert first.change == "heels_raised"
    overturned = next(o for o in first.outcomes if o.sides[0].result == "same")
    assert overturned.cause == "squat.stance"
    tried = (Trial(change="heels_raised", result="same"), *screen.observations[0].trials)
    seen = msgspec.structs.replace(screen.observations[0], trials=tried)
    after = plan(msgspec.structs.replace(screen, observations=(seen,)), graph)
    assert after.causes[0].cause == "squat.stance"
    assert after.verdict == overturned.verdict
    assert after.session is not None
    assert after.session.value == overturned.value


def test_a_disagreement_of_number_and_eye_is_said_and_the_first_check_settles_it(
    graph: Graph,
) -> None:
    cured = msgspec.structs.replace(SEEN, trials=(Trial(change="heels_raised", result="gone"),))
    ample = Measurement(measure="ankle_lunge_distance", value=15.0, unit="cm", side="left")
    screen = Screen(
        observations=(cured,),
        client=Client(alerts=(), conditions=(), pain=()),
        measurements=(ample,),
        kit=("tape",),
    )
    answer = next_check(screen, graph)
    told = [w for w in answer.warnings if w.code == "seen_not_measured"]
    assert [w.pointer for w in told] == ["/measurements/0"]
    assert "ankle" in told[0].text
    assert answer.checks[0].settles
    assert answer.checks[0].tells == "ankle_dorsiflexion.range"
    agreed = msgspec.structs.replace(ample, value=6.0)
    calm = next_check(msgspec.structs.replace(screen, measurements=(agreed,)), graph)
    assert not {w.code for w in calm.warnings} & {"seen_not_measured", "measured_not_seen"}
