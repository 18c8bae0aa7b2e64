"""The order in which the steps of a session are done.

Apart from the search because a set has one value in any order: the order is for the client.
"""

from service.model.choice import Option, Problem

ENDINGS = ("transfer", "practice")


def in_order(problem: Problem, chosen: tuple[int, ...]) -> tuple[int, ...]:
    """Return the options in the order of the session.

    Range, control, then transfer and practice pattern by pattern: patterns outside `ends_in`
    first, each with its helpers before its plain form. Within that by the weight served (sum of
    weight * effect; of a pattern the most that one of its steps serves), largest first, then by
    pattern, drill and dose.
    """
    return tuple(sorted(chosen, key=lambda c: _place(problem, c, chosen)))


def _served(problem: Problem, option: Option) -> int:
    return sum(problem.weights[i] * effect for i, effect in option.effects)


def _place(
    problem: Problem, index: int, chosen: tuple[int, ...]
) -> tuple[int, bool, int, int, bool, int, int, int]:
    """Return the sort key of an option among those chosen."""
    option = problem.options[index]
    served = _served(problem, option)
    rank = {"range": 0, "control": 1}.get(option.aim, 2)
    ends, group = False, 0
    if rank == 2:
        ends = option.pattern in problem.limits.ends_in
        others = [problem.options[c] for c in chosen]
        same = [o for o in others if o.pattern == option.pattern and o.aim in ENDINGS]
        group = max(_served(problem, other) for other in same)
    pattern = option.pattern if rank == 2 else 0
    plain = rank == 2 and not option.helper
    return (rank, ends, -group, pattern, plain, -served, option.drill, option.dose)
