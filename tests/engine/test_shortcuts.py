"""What is worked out beforehand, kept or left until asked for is what the long way would give."""

from pathlib import Path
from random import Random

from msgspec.structs import replace

from service.engine import infer_terms, safety
from service.engine.bars import held_back, lacks_kit
from service.engine.decide import decide
from service.engine.doors import REASONS
from service.engine.exchange import returns
from service.engine.firmness import bent
from service.engine.infer import infer
from service.engine.kept import AT_MOST, Bounded, Keeper
from service.engine.laid import Laid
from service.engine.plan import plan
from service.engine.read import read
from service.engine.safety import judge
from service.engine.table import table_of
from service.model.graph import Graph
from service.model.network import LEFT
from service.model.quantities import MICRO, LeftOutReason
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
            told, found = weighed.laid.table, table_of(weighed.laid.problem)
            mine, other = vars(told), vars(found)
            for one in (mine, other):
                rivals = vars(one.pop("rivals"))
                one["standings"] = [vars(standing) for standing in rivals.pop("standings")]
                one |= rivals
            assert mine == other, f"seed {seed}"


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


def test_a_term_from_a_kept_outline_has_the_bytes_of_one_made_anew(graph: Graph) -> None:
    prepared = infer_terms.prepare(graph.network)
    compared = 0
    for seed in SEEDS:
        for seen in read(random_screen(graph, seed), graph).evidence.sightings:
            every = tuple(range(len(seen.trials)))
            infer_terms.sighting_term(prepared, replace(seen, scale=seen.scale / 2), every)
            kept = infer_terms.sighting_term(prepared, seen, every)
            anew = infer_terms.sighting_term(infer_terms.prepare(graph.network), seen, every)
            assert repr(vars(kept)) == repr(vars(anew)), f"seed {seed}"
            compared += 1
    assert compared > len(SEEDS)


def test_a_passing_variation_of_a_network_weighs_as_if_it_were_kept(graph: Graph) -> None:
    for seed in SEEDS:
        rng = Random(seed)
        evidence = read(random_screen(graph, seed), graph).evidence
        lowered = frozenset({(rng.randrange(len(graph.network.variables)), LEFT)})
        network = bent(graph.network, lowered, frozenset(), 0.5)
        assert infer(network, evidence, like=graph.network) == infer(network, evidence)


def test_what_is_tested_is_the_source_and_no_compiled_engine_that_a_build_left() -> None:
    folder = Path(safety.__file__).parent
    assert [one.name for one in folder.iterdir() if one.suffix in (".so", ".pyd")] == []


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


def test_what_is_kept_with_a_limit_is_dropped_whole_when_it_is_full() -> None:
    held: Bounded[int] = Bounded(2)
    assert [held.keep("a", 1), held.keep("b", 2)] == [1, 2]
    assert [held.get("a"), held.get("b")] == [1, 2]
    assert held.keep("c", 3) == 3
    assert [held.get("a"), held.get("b"), held.get("c")] == [None, None, 3]


def test_an_answer_does_not_depend_on_what_was_answered_before(graph: Graph) -> None:
    for seed in list(SEEDS)[:20]:
        screen = random_screen(graph, seed, healthy=seed % 2 == 0)
        # another object is another pack to every keeper: nothing is kept for it yet
        assert plan(screen, replace(graph)) == plan(screen, graph), f"seed {seed}"


def test_a_caution_closes_what_a_look_at_every_drill_would_close(graph: Graph) -> None:
    closing = 0
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=False)
        level = screen.client.level
        found = judge(screen, None, graph)
        scanned: dict[str, str] = {}
        for caution in graph.cautions.values():
            holds = safety._witnesses(caution.when, screen) or ()
            if not holds:
                continue
            pain = any(where.pain for where in holds)
            for offer in graph.offers:
                drill = graph.drills[offer.drill]
                own = any(
                    safety._closes_own(caution.closes, drill, where.region)
                    for where in holds
                    if where.placed
                )
                if own or safety._closes_anywhere(caution.closes, drill, offer, level):
                    kind = "pain" if pain or scanned.get(drill.id) == "pain" else "caution"
                    scanned[drill.id] = kind
        assert {drill: one.reason for drill, one in found.closed.items()} == scanned, f"seed {seed}"
        closing += bool(scanned)
    assert closing > 20


def test_all_rows_at_once_are_what_each_row_alone_would_be(graph: Graph) -> None:
    reasons: set[str] = set()
    for seed in SEEDS:
        weighed = decide(random_screen(graph, seed, healthy=True), graph).weighed
        if weighed is None or weighed.laid is None:
            continue
        laid = weighed.laid
        frame, rows = laid.frame, laid.frame.shelf.rows
        missing = frame.shelf.kit.missing(frame.kit)
        for at, row in enumerate(rows):
            full = row.doses.fitting[0][0].portion if row.doses.fitting[0] else None
            if full is not None and not full.short:
                parts = [
                    frame.weights[i] * returns(graph.curve, e) // MICRO for i, e in full.effects
                ]
                assert laid.worths[at] == sum(parts), f"seed {seed}: {row.drill.id}"
            ways = frame.shelf.kit.ways[at]
            lacking = bool(ways) and all(way & missing for way in ways)
            assert lacking == (row.needs_kit and lacks_kit(frame, row)), f"seed {seed}"
            told = REASONS[laid.outside.reasons[at]]
            if at not in laid.apart and told in ("level", "rule", "kit"):
                reason = held_back(frame, row, None)
                assert reason is not None
                assert reason[0] == told, f"seed {seed}"
                reasons.add(told)
    assert reasons == {"level", "kit", "rule"}
