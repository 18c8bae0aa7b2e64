"""The order in which the steps of a session are done.

Apart from the search because a set has one value in any order: the order is for the client.
"""

from service.model.choice import Problem

_RANKS = {"range": 0, "control": 1, "practice": 2, "transfer": 2}


def in_order(problem: Problem, chosen: tuple[int, ...]) -> tuple[int, ...]:
    """Return the options in the order of the session.

    Range, control, then practice and transfer pattern by pattern: patterns outside `ends_in`
    first, the target last, each with its helpers before its plain form. Of one pattern practice
    comes before transfer, where transfer has a plain form to end in. Within that by the weight
    served (sum of weight * effect; of a pattern the most that one of its steps serves), largest
    first, then by pattern, drill and dose.
    """
    if len(chosen) < 2:
        return chosen
    limits, weights = problem.limits, problem.weights
    ends_in, target = limits.ends_in, limits.target
    # the most that a step of each pattern serves; where practice and transfer stand apart
    most: dict[int, int] = {}
    apart: set[int] = set()
    steps = []
    for c in chosen:
        option = problem.options[c]
        aim, pattern, helper = option.aim, option.pattern, option.helper
        served = 0
        for i, effect in option.effects:
            served += weights[i] * effect
        if _RANKS[aim] == 2:
            most[pattern] = max(served, most.get(pattern, served))
            if aim == "transfer" and not helper:
                apart.add(pattern)
        steps.append((c, aim, pattern, helper, served, option.drill, option.dose))
    places = []
    for c, aim, pattern, helper, served, drill, dose in steps:
        rank, ends, first, late = _RANKS[aim], 0, 0, False
        plain = rank == 2 and not helper
        if rank == 2:
            ends = (pattern in ends_in) + (pattern == target)
            first = -most[pattern]
            late = aim == "transfer" and pattern in apart
        else:
            pattern = 0
        places.append((rank, ends, first, pattern, late, plain, -served, drill, dose, c))
    places.sort()
    return tuple([place[9] for place in places])
