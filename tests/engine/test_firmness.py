"""How firm the order of causes is: no randomness, and never firmer when more is bent."""

import msgspec
import pytest

from service.engine.decide import decide
from service.engine.firmness import bent
from service.engine.plan import plan
from service.model.graph import Graph
from service.model.network import LEFT
from service.model.screen import Options, Screen
from tests.strategies import random_screen

SEEDS = range(7000, 7012)
ORDER = ("open", "likely", "firm")
ASKED = Options(include=("firmness",))


def said(screen: Screen, graph: Graph) -> list[str | None]:
    asked = msgspec.structs.replace(screen, options=ASKED)
    return [cause.firmness for cause in plan(asked, graph).causes]


def with_spread(graph: Graph, spread: float) -> Graph:
    decision = msgspec.structs.replace(graph.decision, link_spread=spread)
    return msgspec.structs.replace(graph, decision=decision)


def test_a_wider_spread_never_makes_a_cause_firmer(graph: Graph) -> None:
    for seed in SEEDS:
        screen = random_screen(graph, seed)
        narrow, wide = (said(screen, with_spread(graph, s)) for s in (0.1, 0.8))
        for a, b in zip(narrow[:-1], wide[:-1], strict=True):
            assert ORDER.index(a or "") >= ORDER.index(b or ""), f"seed {seed}: {a} then {b}"


def test_without_a_spread_every_order_is_firm(graph: Graph) -> None:
    for seed in SEEDS:
        assert set(said(random_screen(graph, seed), with_spread(graph, 0.0))) <= {"firm"}


def test_firmness_is_the_same_each_time_and_null_when_not_asked_for(graph: Graph) -> None:
    for seed in SEEDS:
        screen = random_screen(graph, seed)
        assert said(screen, graph) == said(screen, graph), f"seed {seed}"
        assert all(cause.firmness is None for cause in plan(screen, graph).causes)


def test_bending_moves_only_the_named_causes_and_stays_within_bounds(graph: Graph) -> None:
    variable = graph.variable_of["hip_abductors.control"]
    other = graph.variable_of["ankle_dorsiflexion.range"]
    network = bent(graph.network, frozenset({(variable, LEFT)}), frozenset({(other, LEFT)}), by=0.5)
    moved = set()
    for before, after in zip(graph.network.events, network.events, strict=True):
        for p, q in zip(before.parents, after.parents, strict=True):
            assert 0.02 <= q.strength <= 0.98
            if q.strength != p.strength:
                moved.add((p.variable, p.mask, q.strength > p.strength))
            else:
                assert q == p
    assert moved == {(variable, LEFT, False), (other, LEFT, True)}


@pytest.mark.parametrize("spread", [0.25])
def test_what_was_cured_by_raised_heels_is_firm(graph: Graph, spread: float) -> None:
    from service.web.shipped import examples

    screen = msgspec.json.decode(examples()["knees_in_heels_help"], type=Screen)
    assert decide(screen, graph).verdict == "train"
    assert said(screen, with_spread(graph, spread))[0] == "firm"
