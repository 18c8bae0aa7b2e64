"""A seeded mix of screens, all different: small, typical, full, and the worst that is allowed.

Apart from the timing because what is timed must be the same on every machine.
"""

from collections.abc import Mapping
from random import Random
from typing import Literal, get_args

import msgspec
from msgspec import Struct

from service.model.graph import Graph
from service.model.knowledge import MeasureRecord
from service.model.quantities import Grade, Level, Result, Side
from service.model.screen import Client, Measurement, Observation, Screen, Trial

Size = Literal["small", "typical", "full", "worst"]
SIZES: tuple[Size, ...] = get_args(Size)
GRADES: tuple[Grade, ...] = ("absent", "mild", "marked", "marked")
RESULTS: tuple[Result, ...] = get_args(Result)
LEVELS: tuple[Level, ...] = get_args(Level)
SIDES: tuple[Side, ...] = ("left", "right", "both")


class Shape(Struct, frozen=True, kw_only=True):
    """How much a screen of one size holds: (least, most) of each."""

    movements: tuple[int, int]
    observations: tuple[int, int]
    trials: tuple[int, int]
    measurements: tuple[int, int]
    kit: tuple[int, int]


SHAPES: Mapping[Size, Shape] = {
    "small": Shape(
        movements=(1, 1), observations=(1, 1), trials=(0, 1), measurements=(0, 0), kit=(0, 1)
    ),
    "typical": Shape(
        movements=(1, 2), observations=(2, 4), trials=(0, 2), measurements=(0, 1), kit=(0, 4)
    ),
    "full": Shape(
        movements=(3, 3), observations=(8, 12), trials=(1, 3), measurements=(2, 4), kit=(4, 10)
    ),
    "worst": Shape(
        movements=(99, 99),
        observations=(128, 128),
        trials=(6, 6),
        measurements=(64, 64),
        kit=(10, 10),
    ),
}
"""A typical screen is what a coach notes in some minutes: one or two movements, two to four
findings looked for, up to two changes tried on each. The worst is the most the contract takes."""


def screens(graph: Graph, size: Size, count: int, seed: int) -> list[Screen]:
    """Return so many screens of one size; the same seed and pack give the same screens."""
    rng = Random(f"{seed} {size}")
    return [_screen(graph, SHAPES[size], rng) for _ in range(count)]


def screen_of(graph: Graph, findings: int, rng: Random) -> Screen:
    """Return a screen with so many findings, all seen, over every watched movement."""
    shape = Shape(
        movements=(99, 99),
        observations=(findings, findings),
        trials=(0, 1),
        measurements=(0, 1),
        kit=(0, 4),
    )
    screen = _screen(graph, shape, rng)
    seen = [
        msgspec.structs.replace(one, grade="marked") if one.grade == "absent" else one
        for one in screen.observations
    ]
    return msgspec.structs.replace(screen, observations=tuple(seen))


def _screen(graph: Graph, shape: Shape, rng: Random) -> Screen:
    watched = [m.id for m in graph.movements.values() if m.watched]
    chosen = rng.sample(watched, min(len(watched), rng.randint(*shape.movements)))
    looks = [key for key in graph.eyes if key[0] in chosen]
    count = rng.randint(*shape.observations)
    keys = rng.sample(looks, min(count, len(looks)))
    # the worst screen asks for more than there is to see: the rest is seen twice
    keys += rng.choices(looks, k=count - len(keys))
    measures = [m for m in graph.measures.values() if not m.id.startswith("blood_pressure")]
    return Screen(
        observations=tuple([_observation(graph, shape, rng, key) for key in keys]),
        client=Client(
            level=rng.choice(LEVELS),
            age_years=rng.randint(18, 49),
            alerts=(),
            conditions=(),
            pain=(),
        ),
        target=rng.choice([m for m in graph.targets if m in chosen]),  # type: ignore[misc]
        minutes=rng.randint(5, 20),
        kit=tuple(rng.sample(list(graph.kit), min(len(graph.kit), rng.randint(*shape.kit)))),
        measurements=tuple(
            [
                _measurement(rng, rng.choice(measures))
                for _ in range(rng.randint(*shape.measurements))
            ]
        ),
    )


def _observation(graph: Graph, shape: Shape, rng: Random, key: tuple[str, str, str]) -> Observation:
    movement, finding, view = key
    grade = rng.choice(GRADES)
    changes = [c.id for c in graph.changes.values() if movement in c.movements]
    tried = rng.sample(changes, min(len(changes), rng.randint(*shape.trials)))
    return Observation(
        movement=movement,  # type: ignore[arg-type]
        view=view,  # type: ignore[arg-type]
        finding=finding,  # type: ignore[arg-type]
        grade=grade,
        side=rng.choice(SIDES) if graph.findings[finding].sided else "none",
        trials=tuple([Trial(change=c, result=rng.choice(RESULTS)) for c in tried])  # type: ignore[arg-type]
        if grade != "absent"
        else (),
    )


def _measurement(rng: Random, record: MeasureRecord) -> Measurement:
    return Measurement(
        measure=record.id,  # type: ignore[arg-type]
        value=round(rng.uniform(record.lowest, record.highest), 1),
        unit=record.unit,
        side=rng.choice(SIDES) if record.sided else "none",
    )
