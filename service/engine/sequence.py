"""The order in which the steps of a session are done.

Apart from the search because a set has one value in any order: the order is for the client.
"""

from service.model.choice import Option, Problem

ENDINGS = ("transfer", "practice")


def in_order(problem: Problem, chosen: tuple[int, ...]) -> tuple[int, ...]:
    """Return the options in the order of the session.

    Range, control, then practice and transfer pattern by pattern: patterns outside `ends_in`
    first, the target last, each with its helpers before its plain form. Of one pattern practice
    comes before transfer, where transfer has a plain form to end in. Within that by the weight
    served (sum of weight * effect; of a pattern the most that one of its steps serves), largest
    first, then by pattern, drill and dose.
    """
    apart = frozenset(
        problem.options[c].pattern
        for c in chosen
        if problem.options[c].aim == "transfer" and not problem.options[c].helper
    )
    return tuple(sorted(chosen, key=lambda c: _place(problem, c, chosen, apart)))


def _served(problem: Problem, option: Option) -> int:
    return sum(problem.weights[i] * effect for i, effect in option.effects)


def _place(
    problem: Problem, index: int, chosen: tuple[int, ...], apart: frozenset[int]
) -> tuple[int, int, int, int, bool, bool, int, int, int]:
    """Return the sort key of an option among those chosen.

    `apart` are the patterns whose practice and transfer stand apart.
    """
    option = problem.options[index]
    served = _served(problem, option)
    rank = {"range": 0, "control": 1}.get(option.aim, 2)
    ends = group = 0
    if rank == 2:
        limits = problem.limits
        ends = (option.pattern in limits.ends_in) + (option.pattern == limits.target)
        others = [problem.options[c] for c in chosen]
        same = [o for o in others if o.pattern == option.pattern and o.aim in ENDINGS]
        group = max(_served(problem, other) for other in same)
    pattern = option.pattern if rank == 2 else 0
    late = rank == 2 and option.aim == "transfer" and option.pattern in apart
    plain = rank == 2 and not option.helper
    return (rank, ends, -group, pattern, late, plain, -served, option.drill, option.dose)
