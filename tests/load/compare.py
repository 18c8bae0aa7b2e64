"""The engine beside a general-purpose inference library and a general-purpose solver, in one run.

Run by hand, since no test may fail on time: `python -m tests.load.compare`. The same sums and the
same problems, first checked to be equal, then timed in turn.
"""

import random
import time
from collections.abc import Callable

from service.engine.choose import choose
from service.engine.infer import infer
from tests.choice_cases import random_problem
from tests.networks import random_evidence, random_network
from tests.truth.test_choose import best_by_solver
from tests.truth.test_posterior import Spelt

SEED = 20_261_125
CASES = 12


def took(run: Callable[[], object]) -> float:
    """Return the seconds of one run."""
    started = time.perf_counter()
    run()
    return time.perf_counter() - started


def median(times: list[float]) -> float:
    """Return the middle of the times."""
    return sorted(times)[len(times) // 2]


def report(name: str, own: list[float], other: list[float]) -> None:
    """Print both medians and how many times longer the library took."""
    ratio = median([b / a for a, b in zip(own, other, strict=True)])
    print(f"{name}: {median(own) * 1e3:.3f} ms, {median(other) * 1e3:.1f} ms, {ratio:.0f} times")


def sums() -> None:
    """Time posteriors against pgmpy, building its model included, as every screen needs one."""
    rng = random.Random(SEED)
    own, other = [], []
    for _ in range(CASES):
        network = random_network(rng, 5, 4, 3)
        evidence = random_evidence(rng, network, 2, 2)
        infer(network, evidence)
        names = [f"x{v}" for v in range(len(network.variables))]
        own.append(took(lambda n=network, e=evidence: infer(n, e)))  # type: ignore[misc]
        other.append(
            took(lambda n=network, e=evidence, m=names: Spelt(n, e).marginals(m))  # type: ignore[misc]
        )
    report("posterior, pgmpy", own, other)


def sessions() -> None:
    """Time the choice of a session against CP-SAT with one worker."""
    rng = random.Random(SEED)
    own, other = [], []
    for _ in range(CASES):
        problem = random_problem(rng, 40)
        assert choose(problem).value == best_by_solver(problem)
        own.append(took(lambda p=problem: choose(p)))  # type: ignore[misc]
        other.append(took(lambda p=problem: best_by_solver(p)))  # type: ignore[misc]
    report("session of 40 options, CP-SAT", own, other)


if __name__ == "__main__":
    sums()
    sessions()
