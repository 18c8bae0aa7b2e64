"""Each limit of a session alone, the tie rule, and the order of what is chosen."""

import random

from service.engine.choose import choose
from service.model.choice import Choice, Limits, Option, Problem
from service.model.quantities import Aim
from tests.choice_cases import random_problem

LINE = ((0, 0), (1_000_000, 1_000_000))
EITHER: frozenset[Aim] = frozenset({"practice", "transfer"})
SQUAT, HINGE = 0, 1
OF_ITS_OWN = 2
"""The cause that only an ending serves; its weight is 60000."""


def option(
    drill: int,
    aim: Aim = "control",
    effects: tuple[tuple[int, int], ...] = (),
    *,
    seconds: int = 60,
    dose: int = 0,
    ladder: int = -1,
    region: int = 0,
    pattern: int = -1,
    helper: bool = False,
    is_new: bool = False,
    holds: tuple[tuple[int, int], ...] = (),
) -> Option:
    return Option(
        drill=drill,
        dose=1 if dose else 0,
        aim=aim,
        seconds=seconds,
        effects=effects,
        ladder=ladder,
        region=region,
        pattern=pattern,
        helper=helper,
        is_new=is_new,
        holds=holds,
    )


def end(drill: int = 90, **more: object) -> Option:
    """Return a movement that a session may end in, worth its price and a little more."""
    more.setdefault("effects", ((OF_ITS_OWN, 500_000),))
    return option(drill, "transfer", pattern=SQUAT, **more)  # type: ignore[arg-type]


def pick(
    *options: Option,
    weights: tuple[int, ...] = (500_000, 500_000, 60_000),
    curve: tuple[tuple[int, int], ...] = LINE,
    price: int = 10_000,
    seconds: int = 600,
    steps: int = 4,
    new_drills: int = 1000,
    range_drills: int = 1,
    hold_s: int = 59,
    needs_practice: bool = False,
    ends_by: frozenset[Aim] = EITHER,
) -> Choice:
    limits = Limits(
        seconds=seconds,
        steps=steps,
        new_drills=new_drills,
        range_drills=range_drills,
        hold_s=hold_s,
        ends_in=frozenset({SQUAT}),
        ends_by=ends_by,
        target=SQUAT,
        needs_practice=needs_practice,
    )
    return choose(
        Problem(options=options, weights=weights, curve=curve, price=price, limits=limits)
    )


def test_nothing_to_choose_from_is_an_empty_session() -> None:
    assert pick() == Choice(chosen=(), value=0, seconds=0)


def test_value_is_weight_times_returns_minus_price() -> None:
    curve = ((0, 0), (400_000, 400_000), (1_000_000, 700_000))
    last = end(effects=((1, 400_000),))
    found = pick(option(1, effects=((0, 700_000),)), last, curve=curve, weights=(500_001, 75_000))
    # r(0.7) = 0.4 + 0.3 / 2 = 0.55; floor(500001 * 0.55) = 275000; then 30000 - 2 * 10000
    assert (found.chosen, found.value, found.seconds) == ((0, 1), 285_000, 120)


def test_returns_are_flat_beyond_the_last_point() -> None:
    assert pick(end(effects=((0, 3_000_000),))).value == 500_000 - 10_000


def test_a_step_that_does_not_earn_its_price_is_not_taken() -> None:
    assert pick(option(1, effects=((0, 10_000),)), end()).chosen == (1,)


def test_a_session_worth_nothing_is_empty() -> None:
    assert pick(end(), price=30_000).chosen == ()


def test_seconds_hold() -> None:
    small, large = option(1, effects=((0, 300_000),)), option(2, effects=((1, 800_000),))
    assert pick(small, large, end(), seconds=180).chosen == (1, 0, 2)
    assert pick(small, large, end(), seconds=179).chosen == (1, 2)
    assert pick(small, large, end(), seconds=59).chosen == ()


def test_steps_hold() -> None:
    drills = [option(d, effects=((0, 100_000 + d),)) for d in range(4)]
    assert len(pick(*drills, end(), steps=3).chosen) == 3
    assert pick(*drills, end(), steps=0).chosen == ()


def test_new_drills_hold_and_known_ones_do_not_count() -> None:
    new = [option(d, effects=((0, 200_000),), is_new=True) for d in range(3)]
    known = option(5, effects=((0, 100_000),))
    assert pick(*new, known, end(), new_drills=1).chosen == (0, 3, 4)


def test_range_drills_hold_and_a_second_is_of_another_region() -> None:
    ankle = option(1, "range", ((0, 500_000),), region=1)
    same = option(2, "range", ((1, 400_000),), region=1)
    other = option(3, "range", ((1, 100_000),), region=2)
    assert pick(ankle, same, other, end()).chosen == (0, 3)
    assert pick(ankle, same, other, end(), range_drills=2).chosen == (0, 2, 3)
    assert pick(ankle, same, other, end(), range_drills=0).chosen == (3,)


def test_static_holds_of_a_muscle_add_up_to_no_more_than_the_limit() -> None:
    long = option(1, "range", ((0, 500_000),), holds=((7, 45),))
    other = option(2, effects=((1, 400_000),), holds=((7, 15), (8, 59)))
    assert pick(long, other, end()).chosen == (0, 2)
    assert pick(long, other, end(), hold_s=60).chosen == (0, 1, 2)


def test_one_rung_of_a_ladder() -> None:
    rungs = [option(d, effects=((d, 500_000 + 10 * d),), ladder=4) for d in range(2)]
    assert pick(*rungs, end()).chosen == (1, 2)


def test_one_dose_of_a_drill_even_without_a_ladder() -> None:
    full = option(1, effects=((0, 500_000),), seconds=200)
    short = option(1, effects=((0, 300_000),), seconds=90, dose=1)
    assert pick(full, short, end()).chosen == (0, 2)
    assert pick(full, short, end(), seconds=200).chosen == (1, 2)


def test_a_helper_needs_the_plain_form_of_its_own_pattern() -> None:
    helped = option(1, "transfer", ((0, 500_000),), pattern=SQUAT, helper=True)
    elsewhere = option(2, "transfer", ((1, 500_000),), pattern=HINGE)
    assert pick(helped, elsewhere).chosen == ()
    assert pick(helped, elsewhere, end()).chosen == (1, 0, 2)
    assert pick(helped, end(), steps=1).chosen == (1,)


def test_two_helpers_may_share_one_plain_form() -> None:
    helped = [option(d, "transfer", ((d, 500_000),), pattern=SQUAT, helper=True) for d in range(2)]
    assert pick(*helped, end()).chosen == (0, 1, 2)


def test_a_session_ends_in_a_pattern_asked_for() -> None:
    control = option(1, effects=((0, 900_000),))
    hinge = option(2, "transfer", ((1, 900_000),), pattern=HINGE)
    assert pick(control, hinge).chosen == ()
    costly = option(3, "transfer", pattern=SQUAT)
    assert pick(control, hinge, costly).chosen == (0, 1, 2)
    assert pick(control, option(3, pattern=SQUAT)).chosen == ()


def test_an_ending_is_of_the_aims_asked_for_and_without_a_helper() -> None:
    control = option(1, effects=((0, 900_000),))
    practice = option(2, "practice", ((1, 100_000),), pattern=SQUAT)
    only = frozenset[Aim]({"transfer"})
    assert pick(control, practice).chosen == (0, 1)
    assert pick(control, practice, ends_by=only).chosen == ()
    assert pick(control, practice, end(), ends_by=only).chosen == (0, 1, 2)
    helped = end(3, helper=True, effects=((OF_ITS_OWN, 900_000),))
    assert pick(control, practice, helped, ends_by=only).chosen == ()


def test_practice_is_taken_where_it_is_needed_and_nothing_else_will_do() -> None:
    practice = option(2, "practice", pattern=HINGE)
    assert pick(end(), practice).chosen == (0,)
    assert pick(end(), practice, needs_practice=True).chosen == (1, 0)
    assert pick(end(), needs_practice=True).chosen == ()


def test_equal_values_go_to_the_smallest_drills() -> None:
    same = [option(d, effects=((0, 500_000),)) for d in (5, 3, 4)]
    assert pick(*same, end(), steps=2).chosen == (1, 3)


def test_equal_values_go_to_the_full_dose_of_one_drill() -> None:
    doses = [option(3, effects=((0, 500_000),), dose=dose) for dose in (1, 0)]
    assert pick(*doses, end()).chosen == (1, 2)


def test_of_equal_values_a_list_comes_before_its_longer_form() -> None:
    free = option(95, effects=((0, 20_000),))  # adds 10000, costs 10000
    assert pick(free, end()).chosen == (1,)
    # a smaller first drill wins although the list is longer
    early = option(5, effects=((0, 20_000),))
    assert pick(early, end()).chosen == (0, 1)


def test_order_is_range_control_then_the_patterns_with_the_target_last() -> None:
    found = pick(
        end(1),
        option(2, "transfer", ((0, 100_000),), pattern=HINGE),
        option(3, "practice", ((0, 50_000),), pattern=SQUAT, helper=True),
        option(4, effects=((0, 100_000),)),
        option(5, effects=((1, 150_000),)),
        option(6, "range", ((0, 50_000),)),
        option(7, "transfer", ((1, 90_000),), pattern=HINGE, helper=True),
        steps=7,
    )
    # by place: range 6, control 5 then 4 by weight served, hinge helped and plain, squat the same
    assert found.chosen == (5, 4, 3, 6, 1, 2, 0)


def test_practice_comes_before_the_movement_that_ends_the_session() -> None:
    found = pick(
        end(1, effects=((0, 900_000),)),
        option(2, "practice", ((1, 100_000),), pattern=SQUAT),
        option(3, "practice", ((1, 90_000),), pattern=SQUAT, helper=True),
    )
    assert found.chosen == (2, 1, 0)


def test_a_movement_with_help_still_comes_before_practice_where_that_is_its_plain_form() -> None:
    helped = option(1, "transfer", ((0, 900_000),), pattern=SQUAT, helper=True)
    practice = option(2, "practice", ((1, 100_000),), pattern=SQUAT)
    assert pick(practice, helped).chosen == (1, 0)


def test_order_within_an_aim_falls_back_on_the_drill() -> None:
    same = [option(d, effects=((c, 100_000),)) for c, d in enumerate((8, 6))]
    assert pick(*same, end()).chosen == (1, 0, 2)


def test_the_order_of_options_does_not_change_what_is_chosen() -> None:
    seed = 11
    print("seed", seed)
    rng = random.Random(seed)
    for _ in range(60):
        problem = random_problem(rng, rng.randint(5, 30))
        turned = list(range(len(problem.options)))
        rng.shuffle(turned)
        other = Problem(
            options=tuple(problem.options[c] for c in turned),
            weights=problem.weights,
            curve=problem.curve,
            price=problem.price,
            limits=problem.limits,
        )
        first, second = choose(problem), choose(other)
        assert first.value == second.value
        assert [problem.options[c] for c in first.chosen] == [
            other.options[c] for c in second.chosen
        ]


def test_more_options_than_a_machine_word_has_bits_are_told_apart() -> None:
    seed = 13
    print("seed", seed)
    rng = random.Random(seed)
    idle = tuple(option(1000 + n, region=n) for n in range(70))
    filled = 0
    for case in range(60):
        problem = random_problem(rng, rng.randint(5, 30))
        wider = Problem(
            options=(*idle, *problem.options),
            weights=problem.weights,
            curve=problem.curve,
            price=problem.price,
            limits=problem.limits,
        )
        first, second = choose(problem), choose(wider)
        assert second.value == first.value, f"case {case}"
        assert second.chosen == tuple(n + len(idle) for n in first.chosen), f"case {case}"
        filled += bool(first.chosen)
    assert filled > 20


def test_looser_limits_never_lower_the_value() -> None:
    seed = 12
    print("seed", seed)
    rng = random.Random(seed)
    rose = 0
    for _ in range(60):
        problem = random_problem(rng, rng.randint(5, 25))
        limits = problem.limits
        looser = Limits(
            seconds=limits.seconds + 120,
            steps=limits.steps + 1,
            new_drills=limits.new_drills + 1,
            range_drills=limits.range_drills + 1,
            hold_s=limits.hold_s,
            ends_in=limits.ends_in | {3},
            ends_by=EITHER,
            target=limits.target,
            needs_practice=False,
        )
        wider = Problem(
            options=problem.options,
            weights=problem.weights,
            curve=problem.curve,
            price=problem.price,
            limits=looser,
        )
        before, after = choose(problem).value, choose(wider).value
        assert after >= before
        rose += after > before
    assert rose > 20
