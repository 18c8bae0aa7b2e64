"""Laws that hold whatever is sent: each on many random screens, against the whole engine."""

import itertools
import math

import msgspec
import pytest

from service.engine.infer import infer
from service.engine.plan import plan
from service.engine.read import read
from service.engine.weigh import belief
from service.model.answer import Answer, SideDose
from service.model.graph import Graph
from service.model.network import LEFT
from service.model.screen import Measurement, Screen
from tests.held import broken_limits, forbidden_words
from tests.strategies import MIRRORED, mirrored, random_screen, seeds, shuffled

SEEDS = seeds(100000, 300)


def value(answer: Answer) -> float:
    return answer.session.value if answer.session else 0.0


@pytest.mark.parametrize("healthy", [True, False])
def test_no_session_breaks_a_limit_or_makes_a_claim(graph: Graph, healthy: bool) -> None:
    sessions = 0
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=healthy)
        answer = plan(screen, graph)
        sessions += answer.session is not None
        assert broken_limits(answer, screen, graph) == [], f"seed {seed}"
        assert forbidden_words(answer) == [], f"seed {seed}"
    assert sessions > len(SEEDS) / 4


def test_the_check_of_limits_finds_broken_ones(graph: Graph) -> None:
    found = 0
    for seed in SEEDS:
        screen = random_screen(graph, seed)
        answer = plan(screen, graph)
        if answer.session is None:
            continue
        steps = answer.session.steps
        change = msgspec.structs.replace
        twice = change(answer, session=change(answer.session, steps=(*steps, steps[0])))
        short = change(screen, minutes=1) if answer.session.minutes > 1 else None
        unwanted = change(screen, avoid=(steps[-1].drill,))
        assert broken_limits(twice, screen, graph), f"seed {seed}"
        assert broken_limits(answer, unwanted, graph), f"seed {seed}"
        assert short is None or broken_limits(answer, short, graph), f"seed {seed}"
        if any(step.kit for step in steps):
            assert broken_limits(answer, change(screen, kit=()), graph), f"seed {seed}"
        found += 1
    assert found > len(SEEDS) / 2


def test_the_order_of_what_is_sent_never_matters(graph: Graph) -> None:
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=seed % 2 == 0)
        one, other = plan(screen, graph), plan(shuffled(screen, seed), graph)
        warned = [sorted((w.code, w.text) for w in a.warnings) for a in (one, other)]
        assert warned[0] == warned[1], f"seed {seed}"
        bare = [msgspec.json.encode(msgspec.structs.replace(a, warnings=())) for a in (one, other)]
        assert bare[0] == bare[1], f"seed {seed}"


def turned(sides: tuple[SideDose, ...]) -> tuple[SideDose, ...]:
    swapped = tuple(SideDose(side=MIRRORED[s.side], sets=s.sets) for s in sides)
    even = len(sides) == 2 and sides[0].sets == sides[1].sets
    return tuple(reversed(swapped)) if even else swapped


def test_mirroring_left_and_right_mirrors_the_answer(graph: Graph) -> None:
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=False)
        one, other = plan(screen, graph), plan(mirrored(screen), graph)
        assert one.verdict == other.verdict, f"seed {seed}"
        causes = sorted((c.cause, MIRRORED[c.side], c.belief, c.weight) for c in one.causes)
        seen = sorted((c.cause, c.side, c.belief, c.weight) for c in other.causes)
        assert [c[:2] for c in causes] == [c[:2] for c in seen], f"seed {seed}"
        for a, b in zip(causes, seen, strict=True):
            assert a[2:] == pytest.approx(b[2:], abs=2e-6), f"seed {seed}"
        steps = [
            [(s.drill, s.sides) for s in a.session.steps] if a.session else [] for a in (one, other)
        ]
        assert [(d, turned(s)) for d, s in steps[0]] == steps[1], f"seed {seed}"


def test_more_minutes_or_kit_never_lower_the_value(graph: Graph) -> None:
    raised = 0
    for seed in SEEDS:
        screen = random_screen(graph, seed)
        before = value(plan(screen, graph))
        longer = msgspec.structs.replace(screen, minutes=min(120, screen.minutes + 5))
        richer = msgspec.structs.replace(screen, kit=tuple(graph.kit))
        after = [value(plan(more, graph)) for more in (longer, richer)]
        assert min(after) >= before, f"seed {seed}: {before} and then {after}"
        raised += max(after) > before
    assert raised > len(SEEDS) / 10


def test_a_removed_caution_never_shrinks_the_session(graph: Graph) -> None:
    removed = 0
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=False)
        before = value(plan(screen, graph))
        for field in ("conditions", "pain"):
            told = getattr(screen.client, field)
            for n in range(len(told)):
                client = msgspec.structs.replace(screen.client, **{field: told[:n] + told[n + 1 :]})
                after = value(plan(msgspec.structs.replace(screen, client=client), graph))
                assert after >= before, f"seed {seed}, without {told[n]}"
                removed += after > before
    assert removed > 10


def odds(screen: Screen, graph: Graph) -> dict[tuple[str, int], float]:
    posterior = infer(graph.network, read(screen, graph).evidence)
    found = {}
    for variable, states in zip(graph.network.variables, posterior.states, strict=True):
        for mask in (1, 2) if variable.sided else (1,):
            p = min(max(belief(states, mask), 1e-9), 1 - 1e-9)
            found[variable.id, mask] = math.log(p / (1 - p))
    return found


def test_a_worse_number_never_lowers_its_cause_against_any_other(graph: Graph) -> None:
    """For measures that speak of one cause: of several, their causes share the evidence."""
    records = [
        r
        for r in graph.measures.values()
        if len(r.speaks_for) == 1 and r.references and not r.silent
    ]
    assert len(records) >= 3
    for n, seed in enumerate(SEEDS):
        record = records[n % len(records)]
        cause = record.speaks_for[0]
        screen = msgspec.structs.replace(random_screen(graph, seed), known=())
        step = math.copysign((record.highest - record.lowest) / 12, cause.shift)
        values = [record.references[0].mean - step / 2 + k * step for k in range(4)]
        values = [v for v in values if record.lowest <= v <= record.highest]
        side = "left" if record.sided else "none"
        told = [
            odds(
                msgspec.structs.replace(
                    screen,
                    measurements=(
                        Measurement(measure=record.id, value=v, unit=record.unit, side=side),  # type: ignore[arg-type]
                    ),
                ),
                graph,
            )
            for v in values
        ]
        own = (cause.cause, LEFT)
        for better, worse in itertools.pairwise(told):
            for other in better:
                kept = worse[own] - worse[other] >= better[own] - better[other] - 1e-6
                assert kept, f"seed {seed}: {record.id} against {other}"
