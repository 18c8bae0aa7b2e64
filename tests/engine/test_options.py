"""How drills become options, why they do not, and what the laws of the value ask of both.

Over 400 lines, because each rule of one function is shown on the same few drills.
"""

import random

import pytest

from service.engine.choose import choose
from service.engine.exchange import parts_of
from service.engine.frame import frame_of
from service.engine.options import Barred, Closure, Laid, Wanted, lay
from service.engine.sides import sides_of, weaker_side
from service.engine.table import table_of
from service.model.answer import SideDose
from service.model.choice import Option, Problem
from service.model.graph import Graph
from service.model.knowledge import DrillRecord
from service.model.quantities import Level, Setting, Verdict
from service.model.screen import Client, Screen
from tests.choice_cases import random_problem
from tests.small_graph import CAUSES, PATTERNS, drill, small_graph

ANKLE, BUILD, OUTER, INNER, TRUNK, SKILL = CAUSES
CARRY = len(CAUSES)
SQUAT = drill(
    "squat_plain",
    "transfer",
    {TRUNK: 0.2},
    pattern="squat",
    carries_to={"squat": 0.5},
)


def screen(
    minutes: int = 12,
    *,
    kit: tuple[str, ...] = (),
    level: Level = "regular",
    setting: Setting = "in_person",
    avoid: tuple[str, ...] = (),
    recent: tuple[str, ...] = (),
) -> Screen:
    return Screen(
        observations=(),
        client=Client(level=level),
        minutes=minutes,
        kit=kit,
        setting=setting,
        avoid=avoid,
        recent=recent,
    )


def wanted(
    verdict: Verdict = "train",
    *,
    lean: dict[str, int] | None = None,
    worked: frozenset[str] = frozenset(),
    failed: frozenset[str] = frozenset(),
    target: str = "squat",
    **weights: int,
) -> Wanted:
    """Return what is wanted; weights by the stem of the cause, 300000 each if none is given."""
    of = {cause.split(".")[0]: i for i, cause in enumerate(CAUSES)}
    rows = [0] * len(CAUSES) if weights else [300_000, 0, 300_000, 300_000, 100_000, 0]
    for stem, weight in weights.items():
        rows[of[stem]] = weight
    leans = [(lean or {}).get(cause, 0) for cause in CAUSES]
    return Wanted(
        target=target,
        verdict=verdict,
        weights=tuple(rows),
        lean=tuple(leans),
        worked=worked,
        failed=failed,
    )


def reasons(laid: Laid) -> dict[str, tuple[str, str]]:
    return {b.drill: (b.reason, b.detail) for b in laid.barred}


def option_of(laid: Laid, name: str, *, short: bool = False) -> Option:
    rows = zip(laid.offered, laid.problem.options, strict=True)
    return next(o for offered, o in rows if offered.drill == name and offered.short == short)


def lay_one(record: DrillRecord, asked: Screen | None = None, **more: Wanted) -> Laid:
    return lay(small_graph([record, SQUAT]), asked or screen(), {}, more.get("want") or wanted())


def test_a_drill_above_the_level_of_the_client_is_barred_by_level() -> None:
    hard = drill("hard", "control", {OUTER: 0.5}, level="regular")
    assert reasons(lay_one(hard, screen(level="new"))) == {"hard": ("level", "regular")}
    assert reasons(lay_one(hard, screen(level="advanced"))) == {}


def test_a_drill_that_needs_a_coach_in_the_room_is_barred_remotely() -> None:
    close = drill("close", "control", {OUTER: 0.5}, remote=False)
    assert reasons(lay_one(close, screen(setting="remote"))) == {"close": ("setting", "")}


def test_kit_names_the_least_that_is_missing_and_uses_the_first_way_that_is_there() -> None:
    ways = [["bench", "dumbbells"], ["long_band", "stick"], ["step_box", "mat", "stick"]]
    rig = drill("rig", "control", {OUTER: 0.5}, kit=ways)
    assert reasons(lay_one(rig, screen(kit=("stick",)))) == {"rig": ("kit", "long_band")}
    assert reasons(lay_one(rig)) == {"rig": ("kit", "bench, dumbbells")}
    laid = lay_one(rig, screen(kit=("stick", "mat", "step_box", "long_band")))
    assert [o.kit for o in laid.offered if o.drill == "rig"] == [("long_band", "stick")]


def test_the_first_reason_in_order_is_given() -> None:
    worst = drill("worst", "control", {OUTER: 0.5}, remote=False, level="regular", kit=[["mat"]])
    graph = small_graph([worst, SQUAT], seconds={"worst": 5_000})
    asked = screen(level="new", setting="remote", avoid=("worst",))
    for closure in (Closure(reason="pain", by="knee_pain"), Closure(reason="caution", by="bones")):
        found = reasons(lay(graph, asked, {"worst": closure}, wanted()))
        assert found == {"worst": (closure.reason, closure.by)}
    assert reasons(lay(graph, asked, {}, wanted())) == {"worst": ("asked", "")}
    asked = screen(level="new", setting="remote")
    assert reasons(lay(graph, asked, {}, wanted())) == {"worst": ("setting", "")}
    asked = screen(level="new")
    assert reasons(lay(graph, asked, {}, wanted())) == {"worst": ("level", "regular")}
    assert reasons(lay(graph, screen(), {}, wanted())) == {"worst": ("kit", "mat")}
    asked = screen(kit=("mat",))
    assert reasons(lay(graph, asked, {}, wanted())) == {"worst": ("minutes", "5000")}


def test_a_drill_too_long_in_full_enters_in_its_short_dose() -> None:
    long = drill("long", "control", {OUTER: 0.5})
    graph = small_graph([long, SQUAT], seconds={"long": 200}, short=["long"])
    laid = lay(graph, screen(3), {}, wanted())
    assert [(o.drill, o.short) for o in laid.offered] == [("long", True), ("squat_plain", False)]
    assert option_of(laid, "long", short=True).effects == ((CAUSES.index(OUTER), 300_000),)
    laid = lay(graph, screen(1), {}, wanted())
    assert reasons(laid) == {"long": ("minutes", "100"), "squat_plain": ("minutes", "100")}


def test_a_stretch_held_too_long_with_its_extra_set_is_against_the_rule() -> None:
    stretch = drill("stretch", "range", {ANKLE: 0.5}, each_side=True, region="ankle")
    graph = small_graph([stretch, SQUAT], holds={"stretch": 25})
    assert option_of(lay(graph, screen(), {}, wanted()), "stretch").holds == ((0, 50),)
    leaning = wanted(lean={ANKLE: 40_000})
    assert reasons(lay(graph, screen(), {}, leaning)) == {
        "stretch": ("rule", "rule_static_hold_limit")
    }


def test_a_drill_that_serves_nothing_found_is_outscored_and_one_that_ends_the_session_is_not() -> (
    None
):
    idle = drill("idle", "control", {INNER: 0.5})
    laid = lay_one(idle, want=wanted(ankle_dorsiflexion=500_000))
    assert laid.barred == (Barred(drill="idle", reason="outscored", detail="", worth=0),)
    assert [o.drill for o in laid.offered] == ["squat_plain"]


def test_other_movements_enter_only_where_they_carry_over() -> None:
    hinge = drill("hinge_plain", "transfer", {TRUNK: 0.5}, pattern="hinge")
    near = drill(
        "split", "transfer", {TRUNK: 0.5}, pattern="split_squat", carries_to={"squat": 0.4}
    )
    laid = lay(small_graph([hinge, near, SQUAT]), screen(), {}, wanted("unsure"))
    assert reasons(laid) == {"hinge_plain": ("rule", "rule_ends_in_pattern")}
    # carry-over is one more weighted entry, after the causes
    assert laid.problem.weights[CARRY] == 250_000
    assert option_of(laid, "split").effects == ((CAUSES.index(TRUNK), 500_000), (CARRY, 400_000))
    assert laid.problem.limits.ends_in == {1, 2}


def test_training_ends_in_a_drill_of_the_target_itself() -> None:
    near = drill(
        "split", "transfer", {TRUNK: 0.5}, pattern="split_squat", carries_to={"squat": 0.4}
    )
    both = small_graph([near, SQUAT, practice("plain", None)])
    limits = lay(both, screen(), {}, wanted()).problem.limits
    assert (limits.ends_in, limits.ends_by) == ({PATTERNS.index("squat")}, {"transfer"})
    # neither cautions nor minutes soften it, or more minutes could lower the value
    shut = {"squat_plain": Closure(reason="caution", by="bones")}
    assert choose(lay(both, screen(), shut, wanted()).problem).chosen == ()
    without = small_graph([near, practice("plain", None)])
    limits = lay(without, screen(), {}, wanted()).problem.limits
    assert limits.ends_in == {PATTERNS.index("squat"), PATTERNS.index("split_squat")}
    limits = lay(both, screen(), {}, wanted("unsure")).problem.limits
    assert limits.ends_by == {"practice", "transfer"}


def test_a_second_drill_that_only_carries_over_does_not_earn_its_step() -> None:
    """Carry-over has diminishing returns: the first counts, a second adds less than its price."""
    whole = {"carries_to": {"squat": 1.0}, "pattern": "squat"}
    drills = [drill(name, "transfer", {SKILL: 0.1}, **whole) for name in ("one", "two")]
    laid = lay(small_graph(drills), screen(), {}, wanted(hip_abductors=400_000))
    # r(2) - r(1) = 0.2 of a weight of 0.25, against a price of 0.02; then r(3) - r(2) = 0
    assert laid.problem.weights[CARRY] == 250_000
    assert choose(laid.problem).value == 250_000 - 2 * 20_000
    three = [*drills, drill("three", "transfer", {SKILL: 0.1}, **whole)]
    more = choose(lay(small_graph(three), screen(), {}, wanted(hip_abductors=400_000)).problem)
    assert more.value == 250_000 - 2 * 20_000


def test_the_carry_over_of_a_short_dose_shrinks_with_it() -> None:
    graph = small_graph([SQUAT], short=["squat_plain"])
    laid = lay(graph, screen(), {}, wanted())
    assert option_of(laid, "squat_plain").effects[-1] == (CARRY, 500_000)
    assert option_of(laid, "squat_plain", short=True).effects[-1] == (CARRY, 300_000)


def test_build_is_never_trained_nor_counted() -> None:
    against = drill("against", "range", {BUILD: 0.9})
    both = drill("both", "range", {BUILD: 0.9, INNER: 0.3})
    laid = lay(
        small_graph([against, both, SQUAT]), screen(), {}, wanted(hip=900_000, hip_adductors=90_000)
    )
    assert reasons(laid) == {"against": ("rule", "rule_build_not_trained")}
    assert laid.problem.weights[CAUSES.index(BUILD)] == 0
    assert parts_of(option_of(laid, "both"), laid.problem.weights) == (
        (CAUSES.index(INNER), 300_000),
    )
    assert laid.problem.weights[:CARRY] == (0, 0, 0, 90_000, 0, 0)


def practice(name: str, helper: str | None, pattern: str = "squat") -> DrillRecord:
    carries = {"squat": 1.0 if pattern == "squat" else 0.3}
    return drill(name, "practice", {SKILL: 0.5}, helper=helper, pattern=pattern, carries_to=carries)


@pytest.mark.parametrize(
    ("worked", "failed", "stay"),
    [
        ({"toes_out"}, set(), {"of_split", "plain", "with_toes"}),
        (set(), set(), {"of_split", "plain", "with_cue"}),
        (set(), {"spoken_cue"}, {"of_split", "plain"}),
        ({"spoken_cue"}, {"toes_out"}, {"of_split", "plain", "with_cue"}),
    ],
)
def test_practice_alone_uses_what_helped(
    worked: set[str], failed: set[str], stay: set[str]
) -> None:
    drills = [
        practice("plain", None),
        practice("with_cue", "spoken_cue"),
        practice("with_toes", "toes_out"),
        practice("of_split", None, "split_squat"),
        SQUAT,
        drill("side_steps", "control", {OUTER: 0.5}),
    ]
    want = wanted("practise", worked=frozenset(worked), failed=frozenset(failed), squat=700_000)
    laid = lay(small_graph(drills), screen(), {}, want)
    assert {o.drill for o in laid.offered} == stay
    found = reasons(laid)
    for name in ("squat_plain", "side_steps"):
        assert found[name] == ("rule", "rule_practice_only")
    assert not laid.problem.limits.needs_practice


def test_practice_of_no_movement_enters_for_what_it_serves_and_is_no_ending() -> None:
    breath = drill("breath", "practice", {SKILL: 0.5}, carries_to={"squat": 0.05})
    graph = small_graph([breath, SQUAT])
    verdicts: tuple[Verdict, ...] = ("train", "practise")
    for verdict in verdicts:
        laid = lay(graph, screen(), {}, wanted(verdict, squat=300_000))
        assert "breath" in {o.drill for o in laid.offered}
        assert laid.problem.limits.ends_in == {PATTERNS.index("squat")}
        assert not laid.problem.limits.needs_practice
    assert reasons(lay(graph, screen(), {}, wanted()))["breath"] == ("outscored", "")


def test_training_needs_practice_once_skill_weighs_enough() -> None:
    drills = [practice("plain", None), practice("with_cue", "spoken_cue"), SQUAT]
    graph = small_graph(drills)
    need = lay(graph, screen(), {}, wanted(hip_abductors=500_000, squat=200_000))
    assert need.problem.limits.needs_practice
    less = lay(graph, screen(), {}, wanted(hip_abductors=500_000, squat=199_999))
    assert not less.problem.limits.needs_practice
    none = lay(small_graph([SQUAT]), screen(), {}, wanted(hip_abductors=90_000, squat=200_000))
    assert not none.problem.limits.needs_practice


def test_practice_with_a_help_that_failed_is_against_the_rule_in_training_too() -> None:
    graph = small_graph([practice("plain", None), practice("with_cue", "spoken_cue"), SQUAT])
    laid = lay(graph, screen(), {}, wanted(squat=300_000, failed=frozenset({"spoken_cue"})))
    assert reasons(laid)["with_cue"] == ("rule", "rule_helper_then_plain")


def test_practice_with_a_help_that_was_not_tried_is_against_the_rule_in_training() -> None:
    drills = [practice("plain", None), practice("with_cue", "spoken_cue"), SQUAT]
    want = wanted(squat=300_000)
    laid = lay(small_graph(drills), screen(), {}, want)
    assert reasons(laid)["with_cue"] == ("rule", "rule_helper_then_plain")
    helped = wanted(squat=300_000, worked=frozenset({"spoken_cue"}))
    assert "with_cue" not in reasons(lay(small_graph(drills), screen(), {}, helped))


def test_limits_follow_the_rules_and_never_fall_with_minutes() -> None:
    graph = small_graph([SQUAT])
    found = {m: lay(graph, screen(m), {}, wanted()).problem.limits for m in range(1, 121)}
    assert [found[m].steps for m in (1, 4, 5, 9, 10, 19, 20, 120)] == [2, 2, 3, 3, 4, 4, 5, 5]
    assert [found[m].range_drills for m in (1, 14, 15, 120)] == [1, 1, 2, 2]
    assert all(limits.hold_s == 59 for limits in found.values())
    assert all(found[m].steps <= found[m + 1].steps for m in range(1, 120))
    assert all(found[m].seconds == 60 * m for m in found)


def test_unknown_drills_are_limited_for_new_clients_only() -> None:
    graph = small_graph([SQUAT, drill("side_steps", "control", {OUTER: 0.5})])
    laid = lay(graph, screen(level="new", recent=("side_steps",)), {}, wanted())
    assert laid.problem.limits.new_drills == 3
    assert not option_of(laid, "side_steps").is_new
    assert option_of(laid, "squat_plain").is_new
    laid = lay(graph, screen(level="regular"), {}, wanted())
    assert laid.problem.limits.new_drills >= len(laid.problem.options)


def test_the_weaker_side_goes_first_with_one_more_set_and_its_seconds() -> None:
    steps = drill("side_steps", "control", {OUTER: 0.5}, each_side=True)
    graph = small_graph([steps, SQUAT])
    laid = lay(graph, screen(), {}, wanted(lean={OUTER: -30_001, ANKLE: 90_000}))
    offered = next(o for o in laid.offered if o.drill == "side_steps")
    assert offered.sides == (SideDose(side="right", sets=3), SideDose(side="left", sets=2))
    assert option_of(laid, "side_steps").seconds == 140
    # a tenth of the weight is no lean
    even = lay(graph, screen(), {}, wanted(lean={OUTER: -30_000, ANKLE: 90_000}))
    offered = next(o for o in even.offered if o.drill == "side_steps")
    assert offered.sides == (SideDose(side="left", sets=2), SideDose(side="right", sets=2))
    assert option_of(even, "side_steps").seconds == 100


def test_the_movement_itself_leans_with_the_whole_session() -> None:
    lunge = drill("lunge", "transfer", {TRUNK: 0.5}, each_side=True, pattern="split_squat")
    graph = small_graph([lunge])
    for by, side in ((0, "left"), (2_000, "none"), (400_000, "right")):
        lean = {ANKLE: -140_000, OUTER: 131_000, INNER: 101_000 - by}
        frame = frame_of(graph, screen(), wanted(lean=lean))
        (own,) = frame.shelf.rows
        assert weaker_side(frame, own) == side
        (still,) = frame_of(small_graph([SQUAT]), screen(), wanted(lean=lean)).shelf.rows
        assert weaker_side(frame, still) == "none"
    assert sides_of(SQUAT, 2, 1, "none") == (SideDose(side="both", sets=2),)


def test_a_rung_that_another_can_always_replace_is_outscored_by_it() -> None:
    better = drill("better", "control", {OUTER: 0.5, TRUNK: 0.1})
    worse = drill("worse", "control", {OUTER: 0.5})
    apart = small_graph([better, worse, SQUAT])
    assert reasons(lay(apart, screen(), {}, wanted())) == {}
    ladder = small_graph([better, worse, SQUAT], ladders=[["better", "worse"]])
    assert reasons(lay(ladder, screen(), {}, wanted())) == {"worse": ("outscored", "better")}
    quicker = small_graph(
        [better, worse, SQUAT], ladders=[["better", "worse"]], seconds={"worse": 99}
    )
    assert reasons(lay(quicker, screen(), {}, wanted())) == {}


def random_graph(rng: random.Random) -> Graph:
    """Return two dozen drills of all kinds, among them a plain squat and its plain practice."""
    drills = [SQUAT, practice("squat_practice", None)]
    for number in range(22):
        aim = rng.choice(("range", "control", "control", "transfer", "practice"))
        causes = rng.sample([ANKLE, OUTER, INNER, TRUNK, SKILL], rng.randint(1, 2))
        more: dict[str, object] = {
            "region": rng.choice(("ankle", "hip", "knee")),
            "each_side": rng.random() < 0.5,
            "kit": rng.choice(([[]], [["mini_band"]], [["bench"], ["step_box"]])),
        }
        if aim in ("transfer", "practice"):
            more |= {
                "pattern": rng.choice(("squat", "split_squat")),
                "carries_to": {"squat": rng.choice((0.2, 0.6, 1.0))},
                "helper": rng.choice((None, "mini_band", "spoken_cue")),
            }
        effects = {cause: rng.randint(1, 9) / 10 for cause in causes}
        drills.append(drill(f"d{number:02}", aim, effects, **more))
    names = [d.id for d in drills if d.aim == "control"]
    return small_graph(
        drills,
        seconds={d.id: rng.randint(40, 240) for d in drills},
        holds={d.id: rng.choice((10, 19, 25)) for d in drills if d.aim == "range"},
        ladders=[names[:3], names[3:5]],
        short=[d.id for d in drills if rng.random() < 0.5],
    )


def random_wanted(rng: random.Random, graph: Graph) -> Wanted:
    weights = [rng.choice((0, rng.randrange(400_000))) for _ in CAUSES]
    sided = [v.sided for v in graph.network.variables]
    return Wanted(
        target="squat",
        verdict=rng.choice(("train", "train", "practise", "unsure")),
        weights=tuple(weights),
        lean=tuple(rng.randint(-w, w) if s else 0 for w, s in zip(weights, sided, strict=True)),
        worked=frozenset(rng.sample(["spoken_cue"], rng.randint(0, 1))),
        failed=frozenset(),
    )


def value(graph: Graph, asked: Screen, closed: dict[str, Closure], want: Wanted) -> int:
    return choose(lay(graph, asked, closed, want).problem).value


def test_more_minutes_more_kit_and_fewer_cautions_never_lower_the_value() -> None:
    seed = 41
    print("seed", seed)
    rng = random.Random(seed)
    rose = [0, 0, 0]
    for _ in range(60):
        graph = random_graph(rng)
        want = random_wanted(rng, graph)
        level = rng.choice(("new", "regular"))
        minutes = rng.randint(1, 25)
        names = [d for d in graph.drills if rng.random() < 0.2]
        shut = {name: Closure(reason="caution", by="a") for name in names}
        asked = screen(minutes, kit=("bench",), level=level)
        base = value(graph, asked, shut, want)
        longer = screen(minutes + rng.randint(1, 6), kit=("bench",), level=level)
        richer = screen(minutes, kit=("bench", "mini_band", "step_box"), level=level)
        after = (
            value(graph, longer, shut, want),
            value(graph, richer, shut, want),
            value(graph, asked, {}, want),
        )
        assert all(base <= other for other in after)
        rose = [n + (other > base) for n, other in zip(rose, after, strict=True)]
    assert min(rose) >= 5


def test_leaving_out_what_an_exclusive_other_replaces_never_changes_the_choice() -> None:
    seed = 42
    print("seed", seed)
    rng = random.Random(seed)
    pruned = 0
    for _ in range(150):
        problem = random_problem(rng, rng.randint(5, 25))
        table = table_of(problem)
        better = table.dominators(table.conflict)
        kept = [o for o, by in zip(problem.options, better, strict=True) if not by]
        pruned += len(better) - len(kept)
        smaller = Problem(
            options=tuple(kept),
            weights=problem.weights,
            curve=problem.curve,
            price=problem.price,
            limits=problem.limits,
        )
        whole, part = choose(problem), choose(smaller)
        assert whole.value == part.value
        assert [problem.options[c] for c in whole.chosen] == [kept[c] for c in part.chosen]
    assert pruned > 100


def test_every_drill_is_an_option_or_barred_once() -> None:
    seed = 43
    print("seed", seed)
    rng = random.Random(seed)
    for _ in range(40):
        graph = random_graph(rng)
        laid = lay(graph, screen(rng.randint(1, 20)), {}, random_wanted(rng, graph))
        offered = {o.drill for o in laid.offered}
        barred = [b.drill for b in laid.barred]
        assert sorted(offered | set(barred)) == list(graph.drills)
        assert len(barred) + len(offered) == len(graph.drills)
        assert [(o.drill, o.dose) for o in laid.problem.options] == sorted(
            (o.drill, o.dose) for o in laid.problem.options
        )
