"""Networks and evidence made for tests: small random ones, and one of the size of a real pack.

Apart from the tests because several of them need the same, and made from a seed only.
"""

import random

from msgspec import structs

from service.compiler.order import elimination_order
from service.model.network import (
    LEFT,
    RIGHT,
    Absence,
    Event,
    Evidence,
    Fixed,
    LikelihoodRatio,
    Network,
    Parent,
    Sighting,
    Tie,
    Variable,
)

CHANGES = ("arms_crossed", "heels_raised", "spoken_cue", "stance_wider", "toes_out", "half_depth")
CONFUSION = ((0.80, 0.15, 0.05), (0.15, 0.70, 0.15), (0.03, 0.12, 0.85))


def network_of(
    variables: list[Variable], events: list[Event], budget: int = 1 << 20, changes: int = 6
) -> Network:
    """Return a network of these with a compiled order."""
    return Network(
        variables=tuple(variables),
        events=tuple(events),
        changes=CHANGES[:changes],
        confusion=CONFUSION,
        order=elimination_order(variables, events),
        work_budget=budget,
    )


def random_variable(rng: random.Random, name: str, sided: bool) -> Variable:
    """Return a cause with a prior that lets both sides go together."""
    one = rng.uniform(0.03, 0.4)
    if not sided:
        return Variable(id=name, sided=False, prior=(1 - one, one))
    both = one * rng.uniform(0.2, 0.7)
    return Variable(id=name, sided=True, prior=(1 - 2 * one + both, one - both, one - both, both))


def random_network(
    rng: random.Random, variables: int, events: int, parents: int, changes: int = 3
) -> Network:
    """Return a small network with strengths and leaks over their whole range."""
    causes = [random_variable(rng, f"cause_{n}", rng.random() < 0.5) for n in range(variables)]
    bits = [(v, m) for v, c in enumerate(causes) for m in ((LEFT, RIGHT) if c.sided else (LEFT,))]
    made = []
    for n in range(events):
        own = rng.sample(bits, min(len(bits), rng.randint(1, parents)))
        made.append(
            Event(
                id=f"event_{n}",
                parents=tuple(
                    Parent(
                        variable=v,
                        mask=m,
                        strength=rng.uniform(0.02, 0.98),
                        persists=tuple(rng.uniform(0.02, 0.98) for _ in range(changes)),
                    )
                    for v, m in own
                ),
                leak=rng.uniform(0.005, 0.3),
                leak_persists=tuple(rng.uniform(0.02, 0.98) for _ in range(changes)),
            )
        )
    return network_of(causes, made, changes=changes)


def random_evidence(
    rng: random.Random, network: Network, sightings: int, trials: int, *, facts: bool = True
) -> Evidence:
    """Return evidence with at most so many sightings and trials in all, and some of the rest."""
    events = list(range(len(network.events)))
    rng.shuffle(events)
    seen = events[:sightings]
    counts = [0] * len(seen)
    for _ in range(trials):
        place = rng.randrange(len(seen))
        counts[place] += counts[place] < len(network.changes)
    bits = [(v, m) for v, c in enumerate(network.variables) for m in ((1, 2) if c.sided else (1,))]
    known = rng.sample(range(len(network.variables)), 1) if facts and rng.random() < 0.3 else []
    return Evidence(
        sightings=tuple(
            Sighting(
                event=event,
                leak=network.events[event].leak * rng.uniform(0.8, 1.5),
                scale=rng.uniform(0.4, 1.1),
                trials=tuple(
                    (change, rng.choice((0, 1, 2)))
                    for change in rng.sample(range(len(network.changes)), count)
                ),
                relevance=rng.choice((0.1, 0.5, 1.0)),
            )
            for event, count in zip(seen, counts, strict=True)
        ),
        absences=tuple(
            Absence(event=e, scale=rng.uniform(0.0, 1.0)) for e in events[sightings : sightings + 2]
        ),
        ratios=tuple(
            LikelihoodRatio(
                targets=tuple(sorted(rng.sample(bits, min(len(bits), rng.randint(1, 3))))),
                ratio=rng.choice((1 / 30, 0.4, 2.5, 30.0)),
            )
            for _ in range(rng.randint(0, 2))
        ),
        fixed=tuple(Fixed(variable=v, mask=LEFT, present=rng.random() < 0.5) for v in known),
    )


def tied(rng: random.Random, network: Network, evidence: Evidence) -> Evidence:
    """Return the evidence with some causes that say something of another, side for side."""
    bits = [(v, m) for v, c in enumerate(network.variables) for m in ((1, 2) if c.sided else (1,))]
    rng.shuffle(bits)
    pairs = list(zip(bits[::2], bits[1::2], strict=False))[: rng.randint(1, 3)]
    ties = []
    for before, later in pairs:
        comes = rng.uniform(0.005, 0.4)
        stays = rng.uniform(comes + 0.01, 0.98)
        ties.append(Tie(before=before, later=later, stays=stays, comes=comes))
    return structs.replace(evidence, ties=tuple(ties))


def pack_sized_network(seed: int = 1, budget: int = 1 << 20) -> Network:
    """Return a network like the lower-body pack: 41 causes, 22 sided; 23 findings, 7 movements.

    A finding draws on the same causes in every movement, with other strengths; each movement
    adds its own `skill`. Sided findings make one event a side, each on the causes of its side.
    """
    rng = random.Random(seed)
    movements = 7
    sided, unsided = 22, 12
    causes = [random_variable(rng, f"sided_{n:02}", True) for n in range(sided)]
    causes += [random_variable(rng, f"midline_{n:02}", False) for n in range(unsided)]
    causes += [random_variable(rng, f"skill_{n}", False) for n in range(movements)]
    events = []
    for finding in range(23):
        has_sides = finding < 12
        region = (finding * sided) // 23
        near = sorted(range(sided), key=lambda c: (abs(c - region), c))[:4]
        own = sorted(rng.sample(near, 3 if has_sides else 2))
        central = sorted(range(unsided), key=lambda c: (abs(c - region * unsided // sided), c))[:3]
        middle = sorted(rng.sample(central, rng.randint(1, 2)))
        shown = [m for m in range(movements) if rng.random() < 0.75]
        for movement in shown:
            extra = sorted(rng.sample(near, rng.randint(0, 1)))
            for side in (LEFT, RIGHT) if has_sides else (0,):
                bits = [
                    (c, m)
                    for c in sorted({*own, *extra})
                    for m in ((side,) if side else (LEFT, RIGHT))
                ]
                bits += [(sided + c, LEFT) for c in middle]
                bits.append((sided + unsided + movement, LEFT))
                events.append(_event(rng, f"m{movement}.f{finding:02}.{side}", bits))
    return network_of(causes, events, budget)


def _event(rng: random.Random, name: str, bits: list[tuple[int, int]]) -> Event:
    return Event(
        id=name,
        parents=tuple(
            Parent(
                variable=v,
                mask=m,
                strength=rng.uniform(0.1, 0.7),
                persists=tuple(rng.choice((0.1, 0.3, 0.9, 0.95)) for _ in CHANGES),
            )
            for v, m in bits
        ),
        leak=rng.uniform(0.01, 0.08),
        leak_persists=tuple(rng.uniform(0.4, 0.8) for _ in CHANGES),
    )


def screen(
    network: Network, seed: int, sightings: int, trials: int, absences: int, ratios: int
) -> Evidence:
    """Return a screen as an eye would give it: leaks hold false sightings, 0.06 to 0.3."""
    rng = random.Random(seed)
    events = rng.sample(range(len(network.events)), min(len(network.events), sightings + absences))
    where = [n % sightings for n in range(trials)]
    sided = [v for v, c in enumerate(network.variables) if c.sided]
    return Evidence(
        sightings=tuple(
            Sighting(
                event=event,
                leak=rng.uniform(0.06, 0.3),
                scale=rng.uniform(0.5, 0.9),
                trials=tuple((c, rng.choice((0, 1, 2))) for c in range(where.count(n))),
                relevance=rng.random(),
            )
            for n, event in enumerate(events[:sightings])
        ),
        absences=tuple(Absence(event=e, scale=rng.uniform(0.3, 0.8)) for e in events[sightings:]),
        ratios=tuple(
            LikelihoodRatio(
                targets=tuple(
                    (v, rng.choice((LEFT, RIGHT)))
                    for v in sorted(rng.sample(sided, 1 if n % 2 == 0 else 2))
                ),
                ratio=rng.uniform(0.2, 8.0),
            )
            for n in range(ratios)
        ),
        fixed=(),
    )
