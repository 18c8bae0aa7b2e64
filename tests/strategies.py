"""Random valid screens of the shipped pack, and the same screen said in another way.

Every screen comes from a seed, so that a failure can be made again from what the test prints.
"""

import os
from random import Random
from typing import TypeVar, get_args

import msgspec

from service.model.graph import Graph
from service.model.knowledge import MeasureRecord
from service.model.quantities import ConditionId, Grade, PainKind, PainWhen, Result, Side
from service.model.screen import (
    Client,
    Condition,
    Known,
    Measurement,
    Observation,
    Pain,
    Screen,
    Trial,
)

RESULTS: tuple[Result, ...] = get_args(Result)
GRADES: tuple[Grade, ...] = ("absent", "mild", "marked", "marked")
SIDES: tuple[Side, ...] = ("left", "right", "both")
MIRRORED: dict[Side, Side] = {"left": "right", "right": "left", "both": "both", "none": "none"}
TIMES = int(os.environ.get("SCREENS_TIMES", "1"))
_T = TypeVar("_T")


def seeds(first: int, count: int) -> range:
    """Return that many seeds, times `SCREENS_TIMES`: the same test, on more screens, by hand."""
    return range(first, first + count * TIMES)


def random_screen(graph: Graph, seed: int, *, healthy: bool = True) -> Screen:
    """Return a screen of one to nine observations with trials, numbers, kit and wishes.

    Without `healthy` the client may report conditions and pain.
    """
    rng = Random(seed)
    movements = [m.id for m in graph.movements.values() if m.watched]
    watched = rng.sample(movements, rng.randint(1, 3))
    looks = [key for key in graph.eyes if key[0] in watched]
    chosen = rng.sample(looks, rng.randint(1, min(9, len(looks))))
    drills = list(graph.drills)
    return Screen(
        observations=tuple(_observation(graph, rng, key) for key in chosen),
        client=_client(rng, healthy),
        target=rng.choice([*graph.targets, None]),  # type: ignore[arg-type]
        minutes=rng.choice([2, 4, 5, 8, 10, 12, 15, 20, 30, 60]),
        kit=tuple(rng.sample(list(graph.kit), rng.randint(0, 6))),
        setting=rng.choice(["in_person", "in_person", "remote"]),  # type: ignore[arg-type]
        measurements=tuple(
            _measurement(rng, record)
            for record in rng.sample(list(graph.measures.values()), rng.randint(0, 3))
            if not record.id.startswith("blood_pressure")
        ),
        recent=tuple(rng.sample(drills, rng.choice([0, 10, 60]))),
        avoid=tuple(rng.sample(drills, rng.choice([0, 0, 5]))),
        known=_known(graph, rng),
    )


def _client(rng: Random, healthy: bool) -> Client:
    conditions: tuple[Condition, ...] = ()
    pain: tuple[Pain, ...] = ()
    regions = ("ankle", "hip", "knee", "low_back", "shoulder")
    if not healthy:
        ids = rng.sample(list(get_args(ConditionId)), rng.randint(0, 2))
        conditions = tuple(
            Condition(
                id=one,
                region=rng.choice((*regions, None)),  # type: ignore[arg-type]
                weeks_ago=rng.choice([None, 1, 20, 200]),
                cleared=rng.random() < 0.7,
            )
            for one in ids
        )
        pain = tuple(
            Pain(
                region=region,  # type: ignore[arg-type]
                score=rng.randint(0, 6),
                side=rng.choice(SIDES),
                kind=rng.choice((*get_args(PainKind), None)),
                when=rng.choice((*get_args(PainWhen), None)),
            )
            for region in rng.sample(regions, rng.randint(0, 2))
        )
    return Client(
        level=rng.choice(["new", "regular", "advanced"]),  # type: ignore[arg-type]
        age_years=rng.choice([None, 30, 45]),
        sex=rng.choice([None, "female", "male"]),  # type: ignore[arg-type]
        alerts=(),
        conditions=conditions,
        pain=pain,
    )


def _observation(graph: Graph, rng: Random, key: tuple[str, str, str]) -> Observation:
    movement, finding, view = key
    grade = rng.choice(GRADES)
    changes = [c.id for c in graph.changes.values() if movement in c.movements]
    tried = rng.sample(changes, rng.choice([0, 1, 2, 4])) if grade != "absent" else []
    return Observation(
        movement=movement,  # type: ignore[arg-type]
        view=view,  # type: ignore[arg-type]
        finding=finding,  # type: ignore[arg-type]
        grade=grade,
        side=rng.choice(SIDES) if graph.findings[finding].sided else "none",
        depth=rng.choice([None, None, "deep", "mid", "shallow"]),  # type: ignore[arg-type]
        trials=tuple(
            Trial(change=c, result=rng.choice(RESULTS), repeats=rng.choice([None, True, False]))  # type: ignore[arg-type]
            for c in tried
        ),
    )


def _measurement(rng: Random, record: MeasureRecord) -> Measurement:
    low, high = record.lowest, record.highest
    return Measurement(
        measure=record.id,  # type: ignore[arg-type]
        value=round(rng.uniform(low, high), 1),
        unit=record.unit,
        side=rng.choice(SIDES) if record.sided else "none",
        same_rater=rng.choice([None, True, False]),
    )


def _known(graph: Graph, rng: Random) -> tuple[Known, ...]:
    causes = rng.sample(list(graph.causes.values()), rng.choice([0, 0, 1]))
    return tuple(
        Known(
            cause=one.id,
            present=rng.random() < 0.5,
            side=rng.choice(SIDES) if one.sided else "none",
        )
        for one in causes
    )


def shuffled(screen: Screen, seed: int) -> Screen:
    """Return the same screen with every list in another order."""
    rng = Random(seed)
    observations = tuple(
        msgspec.structs.replace(seen, trials=_mixed(rng, seen.trials))
        for seen in screen.observations
    )
    client = msgspec.structs.replace(
        screen.client,
        conditions=_mixed(rng, screen.client.conditions or ()),
        pain=_mixed(rng, screen.client.pain or ()),
    )
    return msgspec.structs.replace(
        screen,
        client=client,
        observations=_mixed(rng, observations),
        measurements=_mixed(rng, screen.measurements),
        kit=_mixed(rng, screen.kit),
        recent=_mixed(rng, screen.recent),
        avoid=_mixed(rng, screen.avoid),
        known=_mixed(rng, screen.known),
    )


def _mixed(rng: Random, items: tuple[_T, ...]) -> tuple[_T, ...]:
    return tuple(rng.sample(items, len(items)))


def mirrored(screen: Screen) -> Screen:
    """Return the screen of a client who is this one seen in a mirror."""
    return msgspec.structs.replace(
        screen,
        client=msgspec.structs.replace(
            screen.client,
            conditions=_turned(screen.client.conditions or ()),
            pain=_turned(screen.client.pain or ()),
        ),
        observations=_turned(screen.observations),
        measurements=_turned(screen.measurements),
        known=_turned(screen.known),
    )


def _turned(items: tuple[_T, ...]) -> tuple[_T, ...]:
    return tuple(msgspec.structs.replace(i, side=MIRRORED[i.side]) for i in items)  # type: ignore[attr-defined,type-var]
