"""The shipped pack compiles as installed, whole, and is the same knowledge from any door."""

from pathlib import Path

import pytest

from service.compiler import compile_pack
from service.compiler.checks.width import cells_of
from service.model.graph import Graph

FOLDER = Path(__file__).parents[2] / "knowledge"


@pytest.fixture(scope="module")
def graph() -> Graph:
    return compile_pack()


def test_the_shipped_pack_has_no_faults_and_is_named(graph: Graph) -> None:
    assert graph.pack.name == "movewright"
    assert graph.pack.version.count(".") == 2


def test_a_folder_and_the_installed_resources_give_the_same_digest(graph: Graph) -> None:
    assert compile_pack(FOLDER).pack.digest == graph.pack.digest


def test_everything_wrong_in_any_two_movements_at_once_fits_the_work_budget(graph: Graph) -> None:
    # stronger than the compiler asks: two watched movements, every finding on both sides
    watched = [movement.id for movement in graph.movements.values() if movement.watched]
    for one in watched:
        for other in watched:
            events = [n for n, k in enumerate(graph.events) if k.movement in (one, other)]
            assert cells_of(graph.network, events) <= graph.network.work_budget, (one, other)


def test_no_number_of_the_network_leaves_its_bounds(graph: Graph) -> None:
    for variable in graph.network.variables:
        assert min(variable.prior) >= 0
        assert sum(variable.prior) == pytest.approx(1, abs=1e-12)
    for event in graph.network.events:
        assert event.parents, event.id
        assert 0.005 <= event.leak <= 0.98
        for parent in event.parents:
            assert 0.02 <= parent.strength <= 0.98
            assert all(0.02 <= a <= 0.98 for a in parent.persists)
            assert len(parent.persists) == len(graph.network.changes)
        own = [(parent.variable, parent.mask) for parent in event.parents]
        assert len(set(own)) == len(own), f"{event.id} has one parent twice"


def test_bony_build_gives_way_to_no_change(graph: Graph) -> None:
    build = {graph.variable_of[c.id] for c in graph.causes.values() if c.mode == "build"}
    assert build
    found = [p for e in graph.network.events for p in e.parents if p.variable in build]
    assert found
    assert {a for parent in found for a in parent.persists} == {0.98}


def test_every_rung_is_between_its_neighbours(graph: Graph) -> None:
    offers = {offer.drill: offer for offer in graph.offers}
    for offer in graph.offers:
        if offer.harder is not None:
            assert offers[offer.harder].easier == offer.drill
            assert offers[offer.harder].ladder == offer.ladder
