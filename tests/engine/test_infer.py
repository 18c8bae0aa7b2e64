"""Inference against its oracle, and the laws that hold for every screen.

Over 400 lines, because every output of one function is held against one oracle.
"""

import hashlib
import math
import os
import random
import subprocess
import sys
from pathlib import Path

import msgspec
import numpy as np
import pytest
from msgspec.structs import replace

from service.compiler.order import elimination_order
from service.engine import infer_budget
from service.engine.infer import infer
from service.engine.infer_terms import prepare, products
from service.model.network import (
    LEFT,
    RIGHT,
    Absence,
    Event,
    Evidence,
    Fixed,
    LikelihoodRatio,
    Network,
    Parent,
    Posterior,
    Sighting,
    Variable,
)
from tests.networks import (
    network_of,
    pack_sized_network,
    random_evidence,
    random_network,
    random_variable,
    screen,
    tied,
)
from tests.oracle import Exact, engine_numbers, exact_numbers, largest_difference

SEED = 411
WAYS = ("lists", "arrays")
NOTHING = Evidence(sightings=(), absences=(), ratios=(), fixed=())


def _random_case(seed: int) -> tuple[Network, Evidence]:
    rng = random.Random(seed)
    network = random_network(rng, rng.randint(1, 5), 6, 4)
    return network, random_evidence(rng, network, rng.randint(1, 3), rng.randint(0, 3))


def _one_cause(prior: float, strength: float, leak: float) -> Network:
    cause = Variable(id="cause", sided=False, prior=(1 - prior, prior))
    parent = Parent(variable=0, mask=LEFT, strength=strength, persists=(0.5,))
    event = Event(id="event", parents=(parent,), leak=leak, leak_persists=(0.5,))
    return network_of([cause], [event], changes=1)


def _sighting(event: int, leak: float, scale: float) -> Sighting:
    return Sighting(event=event, leak=leak, scale=scale, trials=(), relevance=1.0)


def _sum_only(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have every part summed in one of the two ways."""
    monkeypatch.setattr(infer_budget, "LISTED_CELLS", 1 if way == "arrays" else 1 << 30)


@pytest.mark.parametrize("way", WAYS)
def test_every_number_equals_the_oracle(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    _sum_only(way, monkeypatch)
    print(f"seed {SEED}")
    worst = (0.0, "")
    for seed in range(SEED, SEED + 60):
        network, evidence = _random_case(seed)
        found = largest_difference(
            exact_numbers(network, evidence), engine_numbers(infer(network, evidence))
        )
        worst = max(worst, found)
        assert found[0] <= 1e-9, (seed, found)
    print(f"largest difference {worst[0]:.2e} at {worst[1]}")


@pytest.mark.parametrize("way", WAYS)
def test_ties_between_causes_equal_the_oracle(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    _sum_only(way, monkeypatch)
    print(f"seed {SEED}")
    for seed in range(SEED, SEED + 100):
        network, plain = _random_case(seed)
        evidence = tied(random.Random(seed), network, plain)
        found = largest_difference(
            exact_numbers(network, evidence), engine_numbers(infer(network, evidence))
        )
        assert found[0] <= 1e-9, (seed, found)


def test_unlikely_sightings_keep_their_digits() -> None:
    """Leaks of 0.005, weak causes and odd reports: the sum is a millionth of its parts."""
    print(f"seed {SEED}")
    for seed in range(SEED, SEED + 15):
        rng = random.Random(seed)
        made = random_network(rng, 3, 4, 3)
        network = replace(
            made,
            events=tuple(
                replace(
                    e,
                    leak=0.005,
                    parents=tuple(replace(p, strength=p.strength * 0.05 + 0.02) for p in e.parents),
                )
                for e in made.events
            ),
        )
        evidence = random_evidence(rng, network, 4, 3, facts=False)
        found = largest_difference(
            exact_numbers(network, evidence), engine_numbers(infer(network, evidence))
        )
        assert found[0] <= 1e-9, (seed, found)


def test_a_published_eye_gives_its_published_posterior_when_folded_in() -> None:
    """WC005, Post 2017 (10.1123/jsr.2015-0178): 0.70 and 0.79, prior 0.30: 0.59 seen, 0.14 not."""
    sensitivity, specificity, prior = 0.70, 0.79, 0.30
    strength, leak = 0.98, 0.0
    network = _one_cause(prior, strength, leak)
    scale = (sensitivity + specificity - 1) / specificity / strength
    seen = replace(NOTHING, sightings=(_sighting(0, 1 - specificity * (1 - leak), scale),))
    not_seen = replace(NOTHING, absences=(Absence(event=0, scale=scale),))
    present = infer(network, seen).states[0][1]
    absent = infer(network, not_seen).states[0][1]
    assert present == pytest.approx(0.21 / (0.21 + 0.147), abs=2e-9)
    assert absent == pytest.approx(0.09 / (0.09 + 0.553), abs=2e-9)
    assert (round(present, 2), round(absent, 2)) == (0.59, 0.14)


def test_with_no_evidence_every_cause_keeps_its_prior() -> None:
    network = pack_sized_network()
    answer = infer(network, NOTHING)
    assert answer.states == tuple(tuple(round(p, 9) for p in v.prior) for v in network.variables)
    assert answer.log_evidence == 0.0


def test_causes_that_nothing_speaks_of_keep_their_prior() -> None:
    network = pack_sized_network()
    evidence = screen(network, 3, 2, 1, 0, 0)
    answer = infer(network, evidence)
    touched = {p.variable for s in evidence.sightings for p in network.events[s.event].parents}
    assert 0 < len(touched) < len(network.variables)
    for v, variable in enumerate(network.variables):
        prior = tuple(round(p, 9) for p in variable.prior)
        assert (answer.states[v] == prior) == (v not in touched)


@pytest.mark.parametrize(("sightings", "trials"), [(4, 2), (9, 5), (22, 4)])
def test_the_order_of_the_evidence_never_matters(sightings: int, trials: int) -> None:
    network = pack_sized_network()
    evidence = screen(network, 7, sightings, trials, 4, 4)
    answer = infer(network, evidence)
    rng = random.Random(SEED)
    places = list(range(sightings))
    rng.shuffle(places)
    turned = [list(range(len(evidence.sightings[i].trials)))[::-1] for i in places]
    shuffled = Evidence(
        sightings=tuple(
            replace(
                evidence.sightings[i], trials=tuple(evidence.sightings[i].trials[t] for t in turn)
            )
            for i, turn in zip(places, turned, strict=True)
        ),
        absences=evidence.absences[::-1],
        ratios=evidence.ratios[::-1],
        fixed=evidence.fixed[::-1],
    )
    other = infer(network, shuffled)
    assert other.states == answer.states
    assert other.log_evidence == answer.log_evidence
    assert other.ratio_moved == answer.ratio_moved[::-1]
    for place, i in enumerate(places):
        mine, theirs = answer.sightings[i], other.sightings[place]
        assert mine is not None and theirs is not None
        assert theirs.leak_share == mine.leak_share
        for a, b in zip(mine.parents, theirs.parents, strict=True):
            assert (a.share, a.moved, a.trial_moved) == (b.share, b.moved, b.trial_moved[::-1])


def _mirrored(network: Network) -> Network:
    """Return the network with the sides of every sided cause exchanged."""

    def parent(p: Parent) -> Parent:
        return replace(p, mask=3 - p.mask) if network.variables[p.variable].sided else p

    return replace(
        network,
        variables=tuple(
            replace(v, prior=(v.prior[0], v.prior[2], v.prior[1], v.prior[3])) if v.sided else v
            for v in network.variables
        ),
        events=tuple(replace(e, parents=tuple(map(parent, e.parents))) for e in network.events),
    )


@pytest.mark.parametrize("seed", range(SEED, SEED + 20))
def test_mirroring_the_screen_mirrors_the_posterior(seed: int) -> None:
    network, evidence = _random_case(seed)
    sided = [v.sided for v in network.variables]
    mirrored = replace(
        evidence,
        ratios=tuple(
            replace(r, targets=tuple((v, 3 - m if sided[v] else m) for v, m in r.targets))
            for r in evidence.ratios
        ),
        fixed=tuple(
            replace(f, mask=3 - f.mask if sided[f.variable] else f.mask) for f in evidence.fixed
        ),
    )
    one, other = infer(network, evidence), infer(_mirrored(network), mirrored)
    for v, states in enumerate(one.states):
        swapped = (states[0], states[2], states[1], states[3]) if sided[v] else states
        assert other.states[v] == pytest.approx(swapped, abs=1.1e-9)
    for mine, theirs in zip(one.sightings, other.sightings, strict=True):
        assert mine is not None and theirs is not None
        for a, b in zip(mine.parents, theirs.parents, strict=True):
            assert b.share == pytest.approx(a.share, abs=1.1e-9)
            assert b.moved == pytest.approx(a.moved, abs=1.1e-9)


def test_a_trial_that_cures_moves_the_cause_that_it_takes_away() -> None:
    """Heels raised cure it: the stiff ankle gains on the weak hip, which such a trial spares."""
    causes = [Variable(id=n, sided=False, prior=(0.7, 0.3)) for n in ("ankle", "hip")]
    parents = tuple(
        Parent(variable=v, mask=LEFT, strength=0.6, persists=(a,)) for v, a in enumerate((0.1, 0.9))
    )
    event = Event(id="knee_in", parents=parents, leak=0.05, leak_persists=(0.5,))
    network = network_of(causes, [event], changes=1)
    answers = [
        infer(network, replace(NOTHING, sightings=(replace(_sighting(0, 0.05, 1), trials=t),)))
        for t in (((0, 0),), (), ((0, 2),))
    ]
    ankle = [a.states[0][1] for a in answers]
    hip = [a.states[1][1] for a in answers]
    assert ankle == sorted(ankle, reverse=True)
    assert hip == sorted(hip)
    first = answers[0].sightings[0]
    assert first is not None
    assert first.parents[0].trial_moved[0] > 0 > first.parents[1].trial_moved[0]


def test_a_worse_measurement_of_one_cause_never_lowers_its_odds_against_any_other() -> None:
    network = pack_sized_network()
    evidence = screen(network, 5, 5, 2, 2, 0)
    target = next((p.variable, p.mask) for p in network.events[evidence.sightings[0].event].parents)
    before: list[float] | None = None
    for ratio in (0.1, 0.5, 1.0, 3.0, 30.0):
        measured = LikelihoodRatio(targets=(target,), ratio=ratio)
        states = infer(network, replace(evidence, ratios=(measured,))).states
        present = [1 - s[0] for s in states]
        mine = sum(p for s, p in enumerate(states[target[0]]) if s & target[1])
        odds = [mine / (1 - mine) / (p / (1 - p)) for p in present]
        if before is not None:
            assert all(
                now >= then - 1e-6
                for v, (now, then) in enumerate(zip(odds, before, strict=True))
                if v != target[0]
            )
        before = odds


def test_what_is_fixed_stays_fixed_and_explains_away() -> None:
    network, evidence = _random_case(SEED)
    parent = network.events[evidence.sightings[0].event].parents[0]
    for known in (True, False):
        fact = Fixed(variable=parent.variable, mask=parent.mask, present=known)
        answer = infer(network, replace(evidence, fixed=(fact,)))
        states = answer.states[parent.variable]
        assert sum(p for s, p in enumerate(states) if s & parent.mask) == float(known)
        said = answer.sightings[0]
        assert said is not None
        assert said.parents[0].moved == 0.0
        if not known:
            assert said.parents[0].share == 0.0


def test_nothing_moves_what_is_known_on_a_wide_screen_either() -> None:
    """Where sums come out of elimination a zero may be a very small number instead."""
    network = pack_sized_network()
    evidence = screen(network, SEED, 14, 12, 0, 0)
    print("seed", SEED)
    known = 0
    for seen in evidence.sightings:
        parent = network.events[seen.event].parents[0]
        fact = Fixed(variable=parent.variable, mask=parent.mask, present=True)
        answer = infer(network, replace(evidence, fixed=(fact,)))
        for other, said in zip(evidence.sightings, answer.sightings, strict=True):
            assert said is not None
            for one, part in zip(network.events[other.event].parents, said.parents, strict=True):
                if (one.variable, one.mask) == (parent.variable, parent.mask):
                    assert part.moved == 0.0
                    assert set(part.trial_moved) <= {0.0}
                    known += 1
    assert known >= len(evidence.sightings)


def test_a_report_whose_other_results_are_confused_alike_needs_fewer_products() -> None:
    network = replace(
        _one_cause(0.3, 0.6, 0.05),
        confusion=((0.82, 0.1, 0.08), (0.05, 0.87, 0.08), (0.05, 0.1, 0.85)),
    )
    prepared = prepare(network)
    assert [len(kinds) for kinds in prepared.kinds] == [2, 3, 2]
    seen = replace(_sighting(0, 0.05, 1.0), trials=((0, 0), (0, 1), (0, 2)))
    assert products(prepared, seen, (0, 1, 2)) == 2 * 3 * 2 + 1
    assert products(prepared, seen, (0,)) == 3


def test_a_fact_that_leaves_no_state_is_passed_over() -> None:
    network = _one_cause(0.3, 0.5, 0.05)
    facts = tuple(Fixed(variable=0, mask=LEFT, present=p) for p in (True, False))
    answer = infer(network, replace(NOTHING, fixed=facts))
    assert sum(answer.states[0]) == 1.0


def test_a_ratio_over_a_target_known_to_be_present_moves_nothing() -> None:
    rng = random.Random(SEED)
    network = network_of([random_variable(rng, "a", True), random_variable(rng, "b", False)], [])
    ratio = LikelihoodRatio(targets=((0, RIGHT), (1, LEFT)), ratio=5.0)
    fact = Fixed(variable=1, mask=LEFT, present=True)
    with_ratio = infer(network, replace(NOTHING, ratios=(ratio,), fixed=(fact,)))
    assert with_ratio.ratio_moved == ((0.0, 0.0),)
    assert with_ratio.states == infer(network, replace(NOTHING, fixed=(fact,))).states


def test_a_cause_that_is_surely_on_one_side_or_the_other_makes_its_ratio_a_constant() -> None:
    either = Variable(id="a", sided=True, prior=(0.0, 0.5, 0.4, 0.1))
    other = Variable(id="b", sided=False, prior=(0.7, 0.3))
    network = network_of([either, other], [])
    ratio = LikelihoodRatio(targets=((0, LEFT), (0, RIGHT), (1, LEFT)), ratio=5.0)
    answer = infer(network, replace(NOTHING, ratios=(ratio,)))
    assert answer.states == ((0.0, 0.5, 0.4, 0.1), (0.7, 0.3))
    assert answer.log_evidence == round(math.log(5.0), 9)


def test_one_cause_twice_on_one_side_of_an_event_is_refused() -> None:
    network = _one_cause(0.3, 0.5, 0.05)
    event = network.events[0]
    broken = replace(network, events=(replace(event, parents=event.parents * 2),))
    with pytest.raises(ValueError, match="`event` has one cause on one side twice"):
        infer(broken, NOTHING)


def test_an_event_without_causes_rests_on_its_leak() -> None:
    network = network_of(
        [Variable(id="a", sided=False, prior=(0.7, 0.3))],
        [Event(id="e", parents=(), leak=0.2, leak_persists=(0.5,) * 6)],
    )
    answer = infer(network, replace(NOTHING, sightings=(_sighting(0, 0.2, 1),)))
    said = answer.sightings[0]
    assert said is not None
    assert (said.leak_share, said.leak_only) == (1.0, 1.0)
    assert answer.log_evidence == round(math.log(0.2), 9)


# --- the work budget ----------------------------------------------------------------------


def test_under_a_small_budget_trials_go_before_sightings_and_the_least_relevant_first() -> None:
    network = pack_sized_network()
    evidence = screen(network, 2, 14, 14, 3, 0)
    trials_gone = sightings_gone = False
    for power in range(20, 4, -1):
        answer = infer(replace(network, work_budget=1 << power), evidence)
        gone = answer.unweighed_trials
        trials_gone |= bool(gone) and not answer.unweighed
        sightings_gone |= bool(answer.unweighed)
        relevance = [s.relevance for s in evidence.sightings]
        if answer.unweighed:
            kept = [i for i in range(14) if i not in answer.unweighed]
            assert all(not evidence.sightings[i].trials or (i, 0) in gone for i in kept), (
                "a sighting went while a trial stayed"
            )
            if kept:
                assert max(relevance[i] for i in answer.unweighed) <= min(
                    relevance[i] for i in kept
                )
        elif gone:
            lost = {i for i, _ in gone}
            whole = {i for i in range(14) if i not in lost and evidence.sightings[i].trials}
            assert not whole or max(relevance[i] for i in lost) <= min(relevance[i] for i in whole)
    assert trials_gone and sightings_gone


def test_what_the_budget_leaves_out_is_as_if_it_had_not_been_sent() -> None:
    network = replace(pack_sized_network(), work_budget=1 << 9)
    evidence = screen(network, 2, 14, 8, 3, 2)
    answer = infer(network, evidence)
    assert answer.unweighed
    assert all(answer.sightings[i] is None for i in answer.unweighed)
    lost = set(answer.unweighed_trials)
    kept = tuple(
        replace(s, trials=tuple(t for n, t in enumerate(s.trials) if (i, n) not in lost))
        for i, s in enumerate(evidence.sightings)
        if i not in answer.unweighed
    )
    rest = infer(network, replace(evidence, sightings=kept))
    assert not rest.unweighed
    assert rest.states == answer.states
    assert rest.log_evidence == answer.log_evidence


def test_equal_relevance_leaves_out_the_later_event() -> None:
    network = replace(pack_sized_network(), work_budget=1 << 9)
    evidence = screen(network, 2, 10, 0, 0, 0)
    equal = replace(
        evidence, sightings=tuple(replace(s, relevance=0.5) for s in evidence.sightings)
    )
    gone = infer(network, equal).unweighed
    assert gone
    events = [s.event for s in equal.sightings]
    assert min(events[i] for i in gone) > max(e for i, e in enumerate(events) if i not in gone)


def test_the_largest_screen_of_the_schema_is_answered_within_the_budget() -> None:
    network = pack_sized_network()
    evidence = screen(network, 1, 128, 768, 40, 64)
    answer = infer(network, evidence)
    assert 0 < sum(s is not None for s in answer.sightings) < 128
    for states in answer.states:
        assert sum(states) == pytest.approx(1.0, abs=1e-8)
        assert min(states) >= 0.0


# --- the same bytes everywhere ------------------------------------------------------------

CASES = ((4, 2, 3, 2), (8, 3, 3, 2), (20, 4, 6, 4), (60, 60, 20, 20))


def _bytes() -> bytes:
    network = pack_sized_network()
    answers = [infer(network, screen(network, 9, *case)) for case in CASES]
    return msgspec.json.encode(answers)


def _digest_elsewhere(**environment: str) -> str:
    root = Path(__file__).parents[2]
    code = (
        "import hashlib; from tests.engine.test_infer import _bytes; "
        "print(hashlib.sha256(_bytes()).hexdigest())"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=root,
        env={**os.environ, "PYTHONPATH": str(root), **environment},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def _cpu_features() -> str:
    """Return all that numpy found in this processor and can be told not to use."""
    found = np.show_config(mode="dicts")["SIMD Extensions"].get("found", [])
    return " ".join(found)


def test_bytes_are_the_same_without_cpu_features_and_under_any_hash_seed() -> None:
    here = hashlib.sha256(_bytes()).hexdigest()
    features = _cpu_features()
    print(f"without: {features}")
    assert _digest_elsewhere(NPY_DISABLE_CPU_FEATURES=features, PYTHONHASHSEED="0") == here
    for seed in ("1", "31337"):
        assert _digest_elsewhere(PYTHONHASHSEED=seed) == here


def test_an_answer_survives_being_written_and_read() -> None:
    network, evidence = _random_case(SEED)
    answer = infer(network, evidence)
    assert msgspec.json.decode(msgspec.json.encode(answer), type=Posterior) == answer


# --- the compiled order -------------------------------------------------------------------


def test_the_compiled_order_is_a_permutation_that_takes_leaves_before_hubs() -> None:
    def event(n: int) -> Event:
        parents = tuple(Parent(variable=v, mask=LEFT, strength=0.5, persists=()) for v in (0, n))
        return Event(id=f"e{n}", parents=parents, leak=0.1, leak_persists=())

    causes = [Variable(id=f"c{n}", sided=False, prior=(0.5, 0.5)) for n in range(6)]
    star = elimination_order(causes, [event(n) for n in range(1, 5)])
    assert sorted(star) == list(range(6))
    assert star[0] == 5
    assert star.index(0) >= 4
    network = pack_sized_network()
    assert sorted(network.order) == list(range(len(network.variables)))
    assert elimination_order(network.variables, network.events) == network.order


def test_the_oracle_itself_sums_to_one() -> None:
    """Positive and not positive, over all reports, exhaust what can happen."""
    network, evidence = _random_case(SEED + 1)
    seen = replace(evidence.sightings[0], trials=())
    every = Exact(network, NOTHING).total((seen,))
    reports = sum(
        Exact(network, NOTHING).total((replace(seen, trials=((0, r),)),)) for r in (0, 1, 2)
    )
    assert 0 < every < 1
    assert float(reports / every) == pytest.approx(1.0, abs=1e-12)
