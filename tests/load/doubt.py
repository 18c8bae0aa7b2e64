"""The laws and the turning points on as many random screens as one waits for: run by hand.

The tests of the engine hold the same on a few dozen screens each; this script asks them again on
thousands, from seeds of its own, and prints how long each took.

    python -m tests.load.doubt --laws 2000 --points 1000 --searched 100
"""

import argparse
import sys
import time
from collections.abc import Callable, Iterator

import msgspec

from service.compiler import compile_pack
from service.engine.plan import plan
from service.model.graph import Graph
from service.model.quantities import Include
from service.model.screen import Options
from tests.engine import test_laws as laws
from tests.engine import test_turning as turning
from tests.strategies import random_screen

FIRST = 500_000
"""Seeds begin here, away from those of the tests."""
LAWS: tuple[tuple[str, Callable[[Graph], None]], ...] = (
    ("no session breaks a limit, healthy", lambda g: _limits(g, healthy=True)),
    ("no session breaks a limit, not healthy", lambda g: _limits(g, healthy=False)),
    ("the order of what is sent never matters", laws.test_the_order_of_what_is_sent_never_matters),
    ("mirroring mirrors the answer", laws.test_mirroring_left_and_right_mirrors_the_answer),
    ("more minutes or kit never lower", laws.test_more_minutes_or_kit_never_lower_the_value),
    ("a removed caution never shrinks", laws.test_a_removed_caution_never_shrinks_the_session),
    (
        "a worse number never lowers its cause",
        laws.test_a_worse_number_never_lowers_its_cause_against_any_other,
    ),
)
ASKED: tuple[tuple[Include, ...], ...] = (
    (),
    ("firmness",),
    ("turning_points",),
    ("next_checks",),
)


def _limits(graph: Graph, *, healthy: bool) -> None:
    laws.test_no_session_breaks_a_limit_or_makes_a_claim(graph, healthy)


def main() -> int:
    """Return the exit code: 1 where something does not hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--laws", type=int, default=2000, help="screens of each law (2000)")
    parser.add_argument("--points", type=int, default=1000, help="of turning points (1000)")
    parser.add_argument("--searched", type=int, default=100, help="searched for smaller ones (100)")
    parser.add_argument("--costs", type=int, default=40, help="of which the cost is taken (40)")
    chosen = parser.parse_args()
    graph = compile_pack()
    laws.SEEDS = range(FIRST, FIRST + chosen.laws)
    turning.SEEDS = range(FIRST, FIRST + chosen.points)
    turning.SEARCHED = range(FIRST, FIRST + chosen.searched)
    rows = [
        *((name, law, chosen.laws) for name, law in LAWS),
        (
            "every turning point turns the plan",
            turning.test_every_turning_point_turns_the_plan_when_it_is_planned_again,
            chosen.points,
        ),
        (
            "no smaller change of its kind turns it",
            turning.test_no_smaller_change_of_its_kind_turns_the_plan,
            chosen.searched,
        ),
    ]
    print(f"pack {graph.pack.version} {graph.pack.digest[:12]}, seeds from {FIRST}", flush=True)
    failed = sum([not _holds(name, law, count, graph) for name, law, count in rows])
    for line in _costs(graph, chosen.costs):
        print(line, flush=True)
    return int(failed > 0)


def _holds(name: str, law: Callable[[Graph], None], count: int, graph: Graph) -> bool:
    """Print and return if the law holds on all its screens."""
    started = time.process_time()
    try:
        law(graph)
    except AssertionError as broken:
        print(f"{name}: BROKEN: {str(broken).splitlines()[0] if str(broken) else broken!r}")
        return False
    took_s = time.process_time() - started
    print(f"{name}: held on {count} screens, {took_s:.0f} s of CPU", flush=True)
    return True


def _costs(graph: Graph, count: int) -> Iterator[str]:
    """Yield the CPU time of a plan alone and with each thing that may be included."""
    options = [*(Options(include=include) for include in ASKED), Options(explain="full")]
    for asked in options:
        times = []
        for seed in range(FIRST, FIRST + count):
            screen = random_screen(graph, seed)
            plan(screen, graph)
            with_options = msgspec.structs.replace(screen, options=asked)
            started = time.process_time()
            plan(with_options, graph)
            times.append(1000 * (time.process_time() - started))
        times.sort()
        name = ", ".join(asked.include) or ("full trace" if asked.explain == "full" else "alone")
        yield f"plan {name}: p50 {times[count // 2]:.2f} ms, most {times[-1]:.2f} ms of CPU"


if __name__ == "__main__":
    sys.exit(main())
