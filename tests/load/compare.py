"""In one run, on the same screens: decision, route, echo, a library of inference and a solver.

Run by hand, since no test may fail on time: python -m tests.load.compare [screens] [seed]

The screens are those of `movewright bench`, all different. The library is asked for the posterior
of each cause that the evidence touches, one after another, which is less than a plan works out; the
solver for the best session among the same options. What they say is compared before it is timed.
"""

import sys
import time
import warnings

from service.engine.choose import choose
from service.engine.decide import Decided, decide
from service.engine.infer import infer
from service.model.graph import Graph
from service.web.bench import lines, measure
from service.web.bench.mix import Size, screens
from tests.shipped import shipped_graph
from tests.truth.test_choose import best_by_solver
from tests.truth.test_posterior import Spelt

SIZES: tuple[Size, ...] = ("small", "typical")
"""Larger ones are beyond the library: its tables grow with everything that was seen."""
SLOW = 12
"""Screens of each size for library and solver, which take seconds."""
CLOSE = 1e-9


def report(size: Size, name: str, own: list[float], other: list[float]) -> None:
    """Print both middles and how many times longer the other took, in the middle of all ratios."""
    ratio = middle([b / a for a, b in zip(own, other, strict=True)])
    print(
        f"{size}, {name}: {middle(own) * 1e3:.3f} ms, {middle(other) * 1e3:.1f} ms, "
        f"{ratio:.0f} times, over {len(own)} screens"
    )


def middle(times: list[float]) -> float:
    """The middle of the times."""
    return sorted(times)[len(times) // 2]


def compare_sums(size: Size, decisions: list[Decided], graph: Graph) -> None:
    """Time posteriors, the making of the library's model included: every screen needs its own."""
    own, other = [], []
    for decided in decisions:
        evidence = decided.reading.evidence
        began = time.perf_counter()
        ours = infer(graph.network, evidence)
        own.append(time.perf_counter() - began)
        told = [seen.event for seen in (*evidence.sightings, *evidence.absences)]
        touched = sorted({p.variable for e in told for p in graph.network.events[e].parents})
        began = time.perf_counter()
        spelt = Spelt(graph.network, evidence)
        theirs = [spelt.marginals([f"x{v}"])[f"x{v}"] for v in touched]
        other.append(time.perf_counter() - began)
        for v, states in zip(touched, theirs, strict=True):
            pairs = zip(ours.states[v], states, strict=True)
            if max(abs(a - b) for a, b in pairs) > CLOSE:
                raise SystemExit("the library says something else")
    report(size, "posterior, pgmpy", own, other)


def compare_sessions(size: Size, decisions: list[Decided]) -> None:
    """Time the choice of a session, and CP-SAT with one worker."""
    own, other = [], []
    for decided in decisions:
        if decided.weighed is None or decided.weighed.laid is None:
            continue
        problem = decided.weighed.laid.problem
        began = time.perf_counter()
        ours = choose(problem)
        own.append(time.perf_counter() - began)
        began = time.perf_counter()
        theirs = best_by_solver(problem)
        other.append(time.perf_counter() - began)
        if ours.value != theirs:
            raise SystemExit("the solver finds another session")
    report(size, "session, CP-SAT", own, other)


def main() -> int:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    warnings.simplefilter("ignore")
    graph = shipped_graph()
    for line in lines(measure(graph, count=count, worst=5, seed=seed), graph.pack, seed):
        print(line)
    for size in SIZES:
        decisions = [decide(screen, graph) for screen in screens(graph, size, SLOW, seed)]
        compare_sums(size, decisions, graph)
        compare_sessions(size, decisions)
    return 0


if __name__ == "__main__":
    sys.exit(main())
