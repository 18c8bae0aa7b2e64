"""Random problems of choosing a session, and its value written out anew: no code of the engine."""

import random
from collections import Counter
from itertools import combinations, pairwise

from service.model.choice import Limits, Option, Problem
from service.model.quantities import Aim

CURVES = (
    ((0, 0), (300_000, 300_000), (600_000, 540_000), (1_000_000, 800_000), (1_600_000, 1_000_000)),
    ((0, 0), (1_000_000, 1_000_000)),
    ((0, 0), (333_333, 500_001), (777_777, 800_003), (2_000_000, 900_000)),
)

EITHER: frozenset[Aim] = frozenset({"practice", "transfer"})


def random_problem(rng: random.Random, size: int) -> Problem:
    """Return a problem of `size` options in every shape the engine may meet."""
    causes = rng.randint(1, 10)
    coarse = rng.random() < 0.3
    raw = [rng.random() ** 2 for _ in range(causes)]
    weights = tuple(
        rng.choice((0, 100_000, 200_000)) if coarse else int(10**6 * w / sum(raw)) for w in raw
    )
    steps = rng.randint(1, 5)
    limits = Limits(
        seconds=rng.choice((180, 360, 480, 600, 900, 1800)),
        steps=steps,
        new_drills=rng.choice((1, 2, 3, 1000, 1000)),
        range_drills=rng.choice((0, 1, 1, 2, 2)),
        hold_s=59,
        ends_in=frozenset(rng.sample(range(3), rng.randint(1, 2))),
        ends_by=rng.choice((EITHER, EITHER, frozenset({"transfer"}))),
        target=rng.choice((-1, 0, 1)),
        needs_practice=rng.random() < 0.2,
    )
    options: list[Option] = []
    while len(options) < size:
        options += _ladder(rng, len(options), causes, coarse)
    return Problem(
        options=tuple(options[:size]),
        weights=weights,
        curve=rng.choice(CURVES),
        price=rng.choice((0, 10_000, 20_000, 30_000)),
        limits=limits,
    )


def _ladder(rng: random.Random, first: int, causes: int, coarse: bool) -> list[Option]:
    """Return one to three rungs, some with a short dose, all of one aim."""
    aim: Aim = rng.choice(("range", "control", "control", "transfer", "transfer", "practice"))
    rungs = rng.randint(1, 3)
    served = sorted(rng.sample(range(causes), min(causes, rng.randint(1, 3))))
    patterned = aim in ("transfer", "practice")
    pattern = rng.randrange(3) if patterned else -1
    helper = patterned and rng.random() < 0.35
    region = rng.randrange(4)
    grain = 200_000 if coarse else 1
    found: list[Option] = []
    for rung in range(rungs):
        seconds = 60 * rng.randint(1, 4) if coarse else rng.randint(30, 260)
        effects = tuple((i, rng.randint(1, 900_000 // grain) * grain) for i in served)
        full = Option(
            drill=first + rung,
            dose=0,
            aim=aim,
            seconds=seconds,
            effects=effects,
            ladder=first if rungs > 1 else -1,
            region=region,
            pattern=pattern,
            helper=helper,
            is_new=rng.random() < 0.7,
            holds=((region, rng.choice((15, 30, 45, 75))),) if rng.random() < 0.4 else (),
        )
        found.append(full)
        if rng.random() < 0.3:
            found.append(_short(full))
    return found


def _short(full: Option) -> Option:
    return Option(
        drill=full.drill,
        dose=1,
        aim=full.aim,
        seconds=full.seconds // 2,
        effects=tuple((i, e * 6 // 10) for i, e in full.effects),
        ladder=full.ladder,
        region=full.region,
        pattern=full.pattern,
        helper=full.helper,
        is_new=full.is_new,
        holds=tuple((m, s // 2) for m, s in full.holds),
    )


def returns(curve: tuple[tuple[int, int], ...], effect: int) -> int:
    """Return the floor of the curve at an effect, flat beyond its end."""
    for (x0, y0), (x1, y1) in pairwise(curve):
        if x0 <= effect <= x1:
            return (y0 * (x1 - x0) + (effect - x0) * (y1 - y0)) // (x1 - x0)
    return curve[-1][1]


def value_of(problem: Problem, chosen: tuple[int, ...]) -> int:
    """Return the value of a set, straight from its definition."""
    total = 0
    for cause, weight in enumerate(problem.weights):
        effect = sum(e for c in chosen for i, e in problem.options[c].effects if i == cause)
        total += weight * returns(problem.curve, effect) // 1_000_000
    return total - len(chosen) * problem.price


def broken_rules(problem: Problem, chosen: tuple[int, ...]) -> list[str]:
    """Return the names of the limits that a set breaks."""
    limits, options = problem.limits, [problem.options[c] for c in chosen]
    ladders = Counter(o.ladder for o in options if o.ladder >= 0)
    regions = Counter(o.region for o in options if o.aim == "range")
    held: Counter[int] = Counter()
    for option in options:
        for muscle, seconds in option.holds:
            held[muscle] += seconds
    plain = {o.pattern for o in options if not o.helper}
    ends = [
        o
        for o in options
        if o.aim in limits.ends_by and o.pattern in limits.ends_in and not o.helper
    ]
    checks = {
        "seconds": sum(o.seconds for o in options) > limits.seconds,
        "steps": len(options) > limits.steps,
        "new": sum(o.is_new for o in options) > limits.new_drills,
        "range": sum(regions.values()) > limits.range_drills,
        "region": any(n > 1 for n in regions.values()),
        "hold": any(n > limits.hold_s for n in held.values()),
        "ladder": any(n > 1 for n in ladders.values()),
        "dose": len({o.drill for o in options}) < len(options),
        "helper": any(o.helper and o.pattern not in plain for o in options),
        "ends": bool(options) and not ends,
        "practice": bool(options)
        and limits.needs_practice
        and not any(o.aim == "practice" and o.pattern >= 0 for o in options),
    }
    return [name for name, broken in checks.items() if broken]


def key_of(problem: Problem, chosen: tuple[int, ...]) -> list[tuple[int, int]]:
    """Return the sorted (drill, dose) list that decides between equal values."""
    return sorted((problem.options[c].drill, problem.options[c].dose) for c in chosen)


def best_by_enumeration(problem: Problem) -> tuple[int, frozenset[int]]:
    """Return the best value and the set that the tie rule picks, trying every set."""
    best = (0, [], frozenset[int]())
    for size in range(1, problem.limits.steps + 1):
        for chosen in combinations(range(len(problem.options)), size):
            value = value_of(problem, chosen)
            if value < best[0] or broken_rules(problem, chosen):
                continue
            key = key_of(problem, chosen)
            if value > best[0] or key < best[1]:
                best = (value, key, frozenset(chosen))
    return best[0], best[2]
