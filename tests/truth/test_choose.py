"""The chosen session against plain enumeration and against OR-tools CP-SAT, on random problems."""

import random

import pytest
from ortools.sat.python import cp_model

from service.engine.choose import choose
from service.model.choice import Problem
from tests.choice_cases import best_by_enumeration, broken_rules, random_problem, value_of

SEED = 20_261_125


def best_by_solver(problem: Problem) -> int:
    """Return the best value that CP-SAT proves, returns and floors modelled exactly."""
    model = cp_model.CpModel()
    options, limits = problem.options, problem.limits
    take = [model.new_bool_var("") for _ in options]
    some = model.new_bool_var("")
    model.add_max_equality(some, take)
    model.add(sum(t * o.seconds for t, o in zip(take, options, strict=True)) <= limits.seconds)
    model.add(sum(take) <= limits.steps)
    model.add(sum(t for t, o in zip(take, options, strict=True) if o.is_new) <= limits.new_drills)
    ranges = [(t, o.region) for t, o in zip(take, options, strict=True) if o.aim == "range"]
    model.add(sum(t for t, _ in ranges) <= limits.range_drills)
    for region in {r for _, r in ranges}:
        model.add_at_most_one(t for t, r in ranges if r == region)
    for name in {o.ladder for o in options} - {-1}:
        model.add_at_most_one(t for t, o in zip(take, options, strict=True) if o.ladder == name)
    for drill in {o.drill for o in options}:
        model.add_at_most_one(t for t, o in zip(take, options, strict=True) if o.drill == drill)
    for muscle in {m for o in options for m, _ in o.holds}:
        held = [t * dict(o.holds).get(muscle, 0) for t, o in zip(take, options, strict=True)]
        model.add(sum(held) <= limits.hold_s)
    for t, option in zip(take, options, strict=True):
        if option.helper:
            model.add_bool_or(
                t.negated(),
                *(
                    u
                    for u, other in zip(take, options, strict=True)
                    if other.pattern == option.pattern and not other.helper
                ),
            )
    enders = [
        t
        for t, o in zip(take, options, strict=True)
        if o.aim in limits.ends_by and o.pattern in limits.ends_in and not o.helper
    ]
    model.add_bool_or(some.negated(), *enders)
    if limits.needs_practice:
        practice = [
            t for t, o in zip(take, options, strict=True) if o.aim == "practice" and o.pattern >= 0
        ]
        model.add_bool_or(some.negated(), *practice)
    parts = [_part(model, problem, cause, take) for cause in range(len(problem.weights))]
    model.maximize(sum(parts) - problem.price * sum(take))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return round(solver.objective_value)


def _part(
    model: cp_model.CpModel, problem: Problem, cause: int, take: list[cp_model.IntVar]
) -> cp_model.IntVar:
    """Return a variable equal to floor(weight * floor(r(sum of effects)) / 10^6)."""
    curve, weight = problem.curve, problem.weights[cause]
    most = sum(e for o in problem.options for i, e in o.effects if i == cause) + curve[-1][0]
    effect = model.new_int_var(0, most, "")
    model.add(
        effect
        == sum(
            t * e
            for t, o in zip(take, problem.options, strict=True)
            for i, e in o.effects
            if i == cause
        )
    )
    r = model.new_int_var(0, curve[-1][1], "")
    here = [model.new_bool_var("") for _ in curve]
    model.add_exactly_one(here)
    for on, (x0, y0), (x1, y1) in zip(here, curve, curve[1:], strict=False):
        model.add(effect >= x0).only_enforce_if(on)
        model.add(effect <= x1).only_enforce_if(on)
        # r = floor((y0 * run + (effect - x0) * rise) / run), run and rise of this piece
        run, rise = x1 - x0, y1 - y0
        exact = y0 * run + (effect - x0) * rise
        model.add(r * run <= exact).only_enforce_if(on)
        model.add(r * run > exact - run).only_enforce_if(on)
    model.add(effect >= curve[-1][0]).only_enforce_if(here[-1])
    model.add(r == curve[-1][1]).only_enforce_if(here[-1])
    part = model.new_int_var(0, max(1, weight) * 2, "")
    model.add(part * 1_000_000 <= weight * r)
    return part


def test_small_problems_have_the_set_that_enumeration_finds() -> None:
    rng = random.Random(SEED)
    print("seed", SEED)
    filled = 0
    for case in range(700):
        problem = random_problem(rng, rng.randint(4, 13))
        value, chosen = best_by_enumeration(problem)
        answer = choose(problem)
        assert (answer.value, frozenset(answer.chosen)) == (value, chosen), f"case {case}"
        filled += bool(chosen)
    assert filled > 200


@pytest.mark.parametrize("part", range(3))
def test_problems_of_full_size_have_the_value_that_a_solver_proves(part: int) -> None:
    rng = random.Random(SEED + 1 + part)
    print("seed", SEED + 1 + part)
    filled = 0
    for case in range(150):
        problem = random_problem(rng, rng.randint(12, 40))
        answer = choose(problem)
        assert answer.value == best_by_solver(problem), f"case {case}"
        assert answer.value == value_of(problem, answer.chosen), f"case {case}"
        assert not broken_rules(problem, answer.chosen), f"case {case}"
        filled += bool(answer.chosen)
    assert filled > 80
