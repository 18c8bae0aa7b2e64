"""The posterior against a general-purpose library, and against 60-digit sums where it is wide.

In the library the model is spelt out by who fires: a node for every possible firing, for every
firing that persists, for every outcome and every report. Our product formula occurs nowhere.
"""

import itertools
import logging
import math
import random
import warnings
from decimal import Decimal

import numpy as np
import pytest
from msgspec.structs import replace

from service.engine.infer import infer
from service.model.network import Evidence, Fixed, Network, Parent, Sighting
from tests.networks import pack_sized_network, random_evidence, random_network, screen
from tests.oracle import wide_evidence

with warnings.catch_warnings():
    # the library warns of its own deprecated parts while it is imported
    warnings.simplefilter("ignore", FutureWarning)
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

SEED = 20260
CASES = 500


class Spelt:
    """A network with evidence as a Bayesian network of the library."""

    def __init__(self, network: Network, evidence: Evidence) -> None:
        self.network = network
        self.model = DiscreteBayesianNetwork()
        self.seen: dict[str, int] = {}
        self.cpds: list[TabularCPD] = []
        for v, variable in enumerate(network.variables):
            self._node(f"x{v}", [[p] for p in variable.prior])
        for seen in evidence.sightings:
            self._sighting(seen)
        for absence in evidence.absences:
            parents = network.events[absence.event].parents
            fires = [
                self._fire(f"a{absence.event}_{i}", p, absence.scale) for i, p in enumerate(parents)
            ]
            self._any(f"a{absence.event}", fires)
            self.seen[f"a{absence.event}"] = 0
        for r, one in enumerate(evidence.ratios):
            sizes = [self._states(v) for v, _ in one.targets]
            high = [
                0.02 * one.ratio
                if any(s & m for s, (_, m) in zip(x, one.targets, strict=True))
                else 0.02
                for x in itertools.product(*(range(n) for n in sizes))
            ]
            # one variable may hold two targets; the library wants it once
            names = [f"r{r}_{t}" for t in range(len(one.targets))]
            for name, (v, _) in zip(names, one.targets, strict=True):
                self._node(name, np.eye(self._states(v)).tolist(), [f"x{v}"])
            self._node(f"r{r}", [[1 - h for h in high], high], names)
            self.seen[f"r{r}"] = 1
        for f, fact in enumerate(evidence.fixed):
            on = [float(bool(s & fact.mask)) for s in range(self._states(fact.variable))]
            self._node(f"f{f}", [[1 - o for o in on], on], [f"x{fact.variable}"])
            self.seen[f"f{f}"] = int(fact.present)
        self.model.add_cpds(*self.cpds)
        self.library = VariableElimination(self.model)

    def marginals(self, names: list[str]) -> dict[str, list[float]]:
        """Return the posterior of each node, from one joint query."""
        joint = self.library.query(names, evidence=self.seen, show_progress=False)
        return {
            n: joint.marginalize([m for m in names if m != n], inplace=False).values.tolist()
            for n in names
        }

    def _states(self, variable: int) -> int:
        return len(self.network.variables[variable].prior)

    def _node(self, name: str, rows: list[list[float]], parents: list[str] | None = None) -> None:
        own = parents or []
        sizes = {c.variable: c.variable_card for c in self.cpds}
        self.model.add_node(name)
        self.model.add_edges_from([(p, name) for p in own])
        self.cpds.append(TabularCPD(name, len(rows), rows, own, [sizes[p] for p in own]))

    def _fire(self, name: str, parent: Parent, scale: float) -> str:
        s = min(parent.strength * scale, 0.98)
        fires = [s if x & parent.mask else 0.0 for x in range(self._states(parent.variable))]
        self._node(name, [[1 - f for f in fires], fires], [f"x{parent.variable}"])
        return name

    def _any(self, name: str, fires: list[str]) -> None:
        some = [float(any(x)) for x in itertools.product((0, 1), repeat=len(fires))]
        self._node(name, [[1 - s for s in some], some], fires)

    def _sighting(self, seen: Sighting) -> None:
        event = self.network.events[seen.event]
        name = f"e{seen.event}"
        fires = [self._fire(f"{name}_{i}", p, seen.scale) for i, p in enumerate(event.parents)]
        self._node(f"{name}_leak", [[1 - seen.leak], [seen.leak]])
        fires.append(f"{name}_leak")
        self._any(name, fires)
        self.seen[name] = 1
        persists = [*(p.persists for p in event.parents), event.leak_persists]
        for t, (change, report) in enumerate(seen.trials):
            keeps = []
            for fire, own in zip(fires, persists, strict=True):
                a = own[change]
                self._node(f"{fire}_t{t}", [[1.0, 1 - a], [0.0, a]], [fire])
                keeps.append(f"{fire}_t{t}")
            self._outcome(f"{name}_o{t}", fires, keeps)
            rows = [[row[r] for row in self.network.confusion] for r in range(3)]
            self._node(f"{name}_r{t}", rows, [f"{name}_o{t}"])
            self.seen[f"{name}_r{t}"] = report

    def _outcome(self, name: str, fires: list[str], keeps: list[str]) -> None:
        rows: list[list[float]] = [[], [], []]
        for x in itertools.product((0, 1), repeat=2 * len(fires)):
            fired, kept = x[: len(fires)], x[len(fires) :]
            truth = 0 if not any(kept) else 2 if kept == fired else 1
            for outcome in range(3):
                rows[outcome].append(float(truth == outcome))
        self._node(name, rows, [*fires, *keeps])


def test_posterior_and_shares_agree_with_a_general_purpose_library() -> None:
    print(f"seed {SEED}, {CASES} cases")
    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    worst = 0.0
    trials = 0
    for case in range(CASES):
        rng = random.Random(SEED + case)
        network = random_network(rng, rng.randint(1, 4), 4, 3)
        evidence = random_evidence(rng, network, rng.randint(1, 2), rng.randint(0, 2))
        trials += sum(len(s.trials) for s in evidence.sightings)
        ours = infer(network, evidence)
        spelt = Spelt(network, evidence)
        causes = [f"x{v}" for v in range(len(network.variables))]
        theirs = spelt.marginals(causes)
        for v, states in enumerate(ours.states):
            worst = max(worst, *(abs(a - b) for a, b in zip(states, theirs[f"x{v}"], strict=True)))
        for seen, said in zip(evidence.sightings, ours.sightings, strict=True):
            assert said is not None
            fires = [f"e{seen.event}_{i}" for i in range(len(said.parents))]
            theirs = spelt.marginals([*fires, f"e{seen.event}_leak"])
            for fire, parent in zip(fires, said.parents, strict=True):
                worst = max(worst, abs(theirs[fire][1] - parent.share))
            worst = max(worst, abs(theirs[f"e{seen.event}_leak"][1] - said.leak_share))
        assert worst <= 1e-9, f"case {case}: {worst}"
    print(f"{trials} trials, largest difference {worst:.2e}")
    assert trials > CASES / 2


def _log_odds(with_fact: Decimal, without: Decimal) -> float:
    return math.log(with_fact / without)


@pytest.mark.parametrize(("sightings", "trials"), [(12, 6), (20, 0), (24, 3), (30, 0)])
def test_wide_screens_agree_with_sums_in_60_digits(sightings: int, trials: int) -> None:
    network = pack_sized_network()
    evidence = screen(network, sightings, sightings, trials, 6, 4)
    ours = infer(network, evidence)
    assert not ours.unweighed and not ours.unweighed_trials
    total = wide_evidence(network, evidence)
    assert abs(float(total.ln()) - ours.log_evidence) <= 1e-6
    sighting, said = evidence.sightings[0], ours.sightings[0]
    assert said is not None
    parent = network.events[sighting.event].parents[0]

    def split(some: Evidence) -> tuple[Decimal, Decimal]:
        facts = (
            Fixed(variable=parent.variable, mask=parent.mask, present=known)
            for known in (True, False)
        )
        present, absent = (wide_evidence(network, replace(some, fixed=(f,))) for f in facts)
        return present, absent

    present, absent = split(evidence)
    belief = sum(p for s, p in enumerate(ours.states[parent.variable]) if s & parent.mask)
    difference = abs(float(present / total) - belief)
    without = split(replace(evidence, sightings=evidence.sightings[1:]))
    moved = _log_odds(present, absent) - _log_odds(*without)
    print(f"{sightings} sightings, {trials} trials: belief {difference:.1e}")
    print(f"moved {abs(moved - said.parents[0].moved):.1e}")
    assert difference <= 1e-6
    assert abs(moved - said.parents[0].moved) <= 1e-6
