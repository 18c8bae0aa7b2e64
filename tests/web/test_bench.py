"""The timing verb: its mix is the same for a seed, and its table names what was timed."""

import msgspec

from service.engine.plan import plan
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.bench import lines, measure, report, scaled_lines, scaling
from service.web.bench.mix import SHAPES, SIZES, screens
from service.web.bench.scaling import FINDINGS, PACKS, grown


def test_a_mix_follows_its_seed_and_holds_no_screen_twice(graph: Graph) -> None:
    for size in SIZES:
        mix = screens(graph, size, 40, 3)
        assert mix == screens(graph, size, 40, 3)
        assert mix != screens(graph, size, 40, 4)
        # one finding without a change can be sent in only so many ways
        assert len({msgspec.json.encode(one) for one in mix}) == len(mix)


def test_a_mix_is_what_the_contract_takes_and_as_large_as_its_shape(graph: Graph) -> None:
    for size in SIZES:
        shape = SHAPES[size]
        for one in screens(graph, size, 10, 5):
            assert msgspec.json.decode(msgspec.json.encode(one), type=Screen) == one
            assert shape.observations[0] <= len(one.observations) <= shape.observations[1]
            assert shape.measurements[0] <= len(one.measurements) <= shape.measurements[1]
            assert plan(one, graph).verdict != "refer"


def test_a_report_times_the_plan_beside_an_echo_of_the_same_size(graph: Graph) -> None:
    timed = measure(graph, count=2, worst=1, seed=6)
    ways = ["decision", *(f"{w} {p}" for w in ("in process", "loopback") for p in PATHS)]
    assert sorted((t.size, t.way) for t in timed) == sorted((s, w) for s in SIZES for w in ways)
    for size in SIZES:
        assert len({t.answer_bytes for t in timed if t.size == size}) == 1
    told = list(lines(timed, graph.pack, 6))
    assert graph.pack.digest[:12] in told[0]
    assert sum("of the echo's requests a second" in line for line in told) == 2 * len(SIZES)


def test_a_grown_pack_answers_what_the_shipped_one_does(graph: Graph) -> None:
    twice = grown(2)
    assert len(twice.causes) == 2 * len(graph.causes)
    assert len(twice.network.events) == 2 * len(graph.network.events)
    assert len(graph.drills) < len(twice.drills) < 2 * len(graph.drills)
    for screen in screens(graph, "typical", 8, 9):
        one, other = plan(screen, graph), plan(screen, twice)
        assert (one.causes, one.session) == (other.causes, other.session)


def test_growth_is_told_for_people_and_for_programs(graph: Graph) -> None:
    scaled = scaling(graph, count=1, seed=2)
    assert [(row.by, row.size) for row in scaled] == [
        *(("findings", n) for n in FINDINGS),
        *(("pack", n) for n in PACKS),
    ]
    told = list(scaled_lines(scaled))
    assert len(told) == 2 + len(scaled)
    made = msgspec.json.encode(report([], scaled, graph.pack, 2))
    assert msgspec.json.decode(made)["scaled"][0]["p50_ms"] == scaled[0].p50_ms


PATHS = ("/v1/plan", "/echo")
