"""Random clients before random cameras within the conditions of use, and what is true of them.

Apart from the figures because this is what the claim "at most one grade in twenty is wrong" is
about: which bodies, which cameras.
"""

import random
from collections.abc import Iterator
from dataclasses import replace

from service.model.knowledge import CutoffRecord, GradeRow
from service.model.landmarks import Clip
from service.model.quantities import FindingId, Grade, MovementId, View
from tests.landmarks.figures import Body, Camera

SQUATS: tuple[MovementId, ...] = ("overhead_squat", "squat")
ONE_LEG: tuple[MovementId, ...] = ("single_leg_squat", "step_down")


def camera(rng: random.Random, view: View) -> Camera:
    """Return a camera within the conditions of use.

    At least 3 m away, at 0.5 to 1.2 m, within 5 degrees of square and 2 of level, the client
    within 15 cm of the middle; 24 to 60 frames a second, noise up to 1 % of the shank, up to one
    point in ten dropped.
    """
    return Camera(
        view=view,
        distance=rng.uniform(3.0, 5.0),
        height=rng.uniform(0.5, 1.2),
        yaw=rng.uniform(-5.0, 5.0),
        roll=rng.uniform(-2.0, 2.0),
        noise=rng.uniform(0.0, 3.5),
        dropped=rng.uniform(0.0, 0.1),
        fps=rng.choice((24.0, 25.0, 30.0, 60.0)),
        offset=rng.uniform(-0.15, 0.15),
        focal=2400.0,
    )


def body(rng: random.Random, movement: MovementId) -> Body:
    """Return a client: every departure from none to plain."""
    arms = (rng.uniform(165, 180), rng.uniform(120, 178))
    two = Body(
        movement=movement,
        knee_flexion=rng.uniform(55, 125),
        shin=rng.uniform(18, 38),
        swivel=(rng.uniform(-15, 45), rng.uniform(-15, 45)),
        trunk=rng.uniform(15, 70),
        side_lean=rng.uniform(-20, 20),
        shift=rng.uniform(-0.14, 0.14),
        wobble=rng.choice((0.0, 0.0, rng.uniform(0, 9))),
        arm_start=arms[0] if movement == "overhead_squat" else 20.0,
        arm_bottom=arms[1] if movement == "overhead_squat" else 20.0,
        heel=rng.choice((0.0, rng.uniform(0, 22))),
        lead=rng.choice((0.0, rng.uniform(0, 35))),
        toe_swing=rng.choice((0.0, rng.uniform(0, 30))),
        half_stance=rng.uniform(0.10, 0.22),
        repeats=rng.choice((3, 4)),
        seconds=rng.uniform(2.0, 3.5),
        scatter=rng.uniform(0, 4),
    )
    if movement in SQUATS:
        return two
    stance = rng.choice(("left", "right"))
    if movement == "single_leg_stance":
        return replace(
            two,
            knee_flexion=rng.uniform(4, 12),
            shin=4.0,
            trunk=rng.uniform(2, 8),
            stance=stance,
            swivel=(0.0, 0.0),
            pelvis=rng.uniform(-22, 22),
        )
    return replace(
        two,
        knee_flexion=rng.uniform(25, 75),
        shin=rng.uniform(12, 26),
        trunk=rng.uniform(5, 35),
        stance=stance,
        shift=0.0,
        pelvis=rng.uniform(-4, 24) * (1 if stance == "left" else -1),
    )


def true_grade(
    clip: Clip,
    finding: FindingId,
    side: str,
    truth: dict[str, float],
    records: dict[str, CutoffRecord],
) -> Grade:
    """Return the grade that the true value has by the cut-offs."""
    record, row = next(_rows(clip, finding, records))
    measure = record.measure
    if measure in ("pelvis_shift", "trunk_side_lean") and f"{measure}/none" in truth:
        value = truth[f"{measure}/none"] * (1 if side == "left" else -1)
    elif side == "none" and f"{measure}/none" not in truth:
        value = (truth[f"{measure}/left"] + truth[f"{measure}/right"]) / 2
    else:
        value = truth[f"{measure}/{side}"]
    way = 1 if row.marked > row.mild else -1
    if way * value >= way * row.marked:
        return "marked"
    return "mild" if way * value >= way * row.mild else "absent"


def _rows(
    clip: Clip, finding: FindingId, records: dict[str, CutoffRecord]
) -> Iterator[tuple[CutoffRecord, GradeRow]]:
    for record in records.values():
        for row in record.grades:
            if row.finding == finding and clip.movement in row.movements and row.sex is None:
                yield record, row
