"""What is worked out beforehand, kept or left until asked for is what the long way would give."""

from random import Random

from service.engine import infer_terms, safety
from service.engine.decide import decide
from service.engine.firmness import bent
from service.engine.infer import infer
from service.engine.kept import AT_MOST, Keeper
from service.engine.laid import Laid
from service.engine.read import read
from service.engine.safety import judge
from service.engine.table import Table
from service.model.graph import Graph
from service.model.network import LEFT
from service.model.quantities import LeftOutReason
from tests.strategies import random_screen

SEEDS = range(7000, 7060)


def lost_of_all(laid: Laid, taken: frozenset[str]) -> dict[LeftOutReason, tuple[int, str, int]]:
    """Return by reason the most worth, its first drill and the count, from every drill told."""
    rows: dict[LeftOutReason, list[tuple[int, str]]] = {}
    for barred in laid.barred:
        rows.setdefault(barred.reason, []).append((-barred.worth, barred.drill))
    most: dict[str, int] = {}
    for offered in laid.offered:
        if offered.drill not in taken:
            most[offered.drill] = max(offered.worth, most.get(offered.drill, 0))
    rows.setdefault("outscored", []).extend((-worth, drill) for drill, worth in most.items())
    counted = {reason: [row for row in each if row[0] < 0] for reason, each in rows.items()}
    return {r: (-min(each)[0], min(each)[1], len(each)) for r, each in counted.items() if each}


def test_the_best_that_each_reason_kept_out_is_the_best_of_all_that_it_kept_out(
    graph: Graph,
) -> None:
    reasons: set[LeftOutReason] = set()
    for seed in SEEDS:
        weighed = decide(random_screen(graph, seed, healthy=seed % 2 == 0), graph).weighed
        if weighed is None or weighed.laid is None or weighed.choice is None:
            continue
        laid = weighed.laid
        taken = frozenset(laid.held[n].row.drill.id for n in weighed.choice.chosen)
        lost = laid.lost(taken)
        found = {r: (one.worth, one.drill, one.count) for r, one in lost.items()}
        assert found == lost_of_all(laid, taken), f"seed {seed}"
        details = {b.drill: b.detail for b in laid.barred}
        assert all(one.detail == details.get(one.drill, "") for one in lost.values())
        told = [b.drill for b in laid.barred] + [o.drill for o in laid.offered]
        assert set(told) == set(graph.drills), f"seed {seed}"
        reasons |= lost.keys()
    assert len(reasons) >= 6


def test_a_table_that_was_told_its_gains_is_the_table_of_its_problem(graph: Graph) -> None:
    for seed in SEEDS:
        weighed = decide(random_screen(graph, seed), graph).weighed
        if weighed is not None and weighed.laid is not None:
            told, found = weighed.laid.table, Table(weighed.laid.problem)
            assert vars(told) == vars(found), f"seed {seed}"


def test_records_that_need_what_was_not_told_never_hold(graph: Graph) -> None:
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=False)
        told = safety._told(screen)
        alerts, cautions = safety._possible(graph, told)
        for alert in graph.alerts.values():
            held = safety._witnesses(alert.when, screen)
            assert held is None or alert in alerts, f"seed {seed}: {alert.id}"
        for caution in graph.cautions.values():
            held = safety._witnesses(caution.when, screen)
            assert held is None or caution in cautions, f"seed {seed}: {caution.id}"
        assert len(cautions) <= len(graph.cautions)
        assert judge(screen, None, graph) == judge(screen, None, graph)


def test_a_term_worked_out_by_hand_has_the_bytes_of_the_one_in_arrays(graph: Graph) -> None:
    prepared = infer_terms.prepare(graph.network)
    compared = 0
    for seed in SEEDS:
        for seen in read(random_screen(graph, seed), graph).evidence.sightings:
            changes = [change for change, _ in seen.trials]
            splits = [prepared.splits[report] for _, report in seen.trials]
            few = infer_terms._few(prepared, seen, changes, splits)
            many = infer_terms._many(prepared, seen, changes, splits)
            assert [a.tolist() for a in few] == [a.tolist() for a in many], f"seed {seed}"
            compared += 1
    assert compared > len(SEEDS)


def test_a_passing_variation_of_a_network_weighs_as_if_it_were_kept(graph: Graph) -> None:
    for seed in SEEDS:
        rng = Random(seed)
        evidence = read(random_screen(graph, seed), graph).evidence
        lowered = frozenset({(rng.randrange(len(graph.network.variables)), LEFT)})
        network = bent(graph.network, lowered, frozenset(), 0.5)
        assert infer(network, evidence, like=graph.network) == infer(network, evidence)


def test_a_keeper_makes_once_and_forgets_the_oldest() -> None:
    made: list[list[int]] = []

    def make(pack: list[int]) -> int:
        made.append(pack)
        return len(made)

    keeper = Keeper(make)
    packs = [[n] for n in range(AT_MOST + 1)]
    assert [keeper.of(packs[0]), keeper.of(packs[0])] == [1, 1]
    for pack in packs[1:]:
        keeper.of(pack)
    assert keeper.of(packs[-1]) == AT_MOST + 1
    assert keeper.of(packs[0]) == AT_MOST + 2
