"""How far a value is from the truth by where the camera stands, and how often a grade is wrong.

The figures are printed (run with -s); what is asserted are the bounds that the documentation of
the route allows itself.
"""

import math
import random
from collections import Counter
from dataclasses import replace

import msgspec
import numpy as np
import pytest

from service.model.landmarks import Clip
from service.model.quantities import MovementId, View
from tests.landmarks import clients
from tests.landmarks.figures import Body, Camera, Filmed, clip_of, film, frames_of, grid_of
from tests.landmarks.pack import cutoffs, read

SCENES: tuple[tuple[MovementId, View], ...] = (
    ("overhead_squat", "side"),
    ("single_leg_squat", "front"),
    ("single_leg_stance", "front"),
    ("squat", "back"),
    ("squat", "front"),
    ("squat", "side"),
    ("step_down", "front"),
    ("step_down", "side"),
)
LIMIT = 0.05


def truth_for(filmed: Filmed) -> dict[str, float]:
    """Return what is true of the leg that counts."""
    stance = filmed.body.stance
    if stance == "both":
        return filmed.truth
    own = {k: v for k, v in filmed.truth.items() if k.endswith(("none", stance))}
    del own["trunk_side_lean/none"]
    for measure in ("thigh_angle", "knee_flexion", "trunk_beyond_shin"):
        own[f"{measure}/none"] = own[f"{measure}/{stance}"]
    return own


@pytest.mark.parametrize(("movement", "view"), SCENES)
def test_at_most_one_grade_in_twenty_is_wrong_within_the_conditions(
    movement: MovementId, view: View
) -> None:
    seed = 6
    print("seed", seed)
    rng = random.Random(f"{seed} {movement} {view}")
    given: Counter[str] = Counter()
    wrong: Counter[str] = Counter()
    for n in range(40):
        filmed = film(clients.body(rng, movement), clients.camera(rng, view), n)
        clip = clip_of(filmed, "body33", n)
        truth = truth_for(filmed)
        for seen in read(clip).observations:
            true = clients.true_grade(clip, seen.finding, seen.side, truth, cutoffs())
            given[seen.finding] += 1
            wrong[seen.finding] += seen.grade != true
    print(movement, view, {f: f"{wrong[f]} of {given[f]}" for f in sorted(given)})
    assert sum(given.values()) > 40
    for finding, count in given.items():
        assert wrong[finding] <= max(1, math.floor(LIMIT * count)), finding
    assert sum(wrong.values()) <= LIMIT * sum(given.values())


@pytest.mark.parametrize("yaw", [-5.0, 5.0])
@pytest.mark.parametrize("roll", [-2.0, 2.0])
def test_at_the_edge_of_the_conditions_a_knee_near_the_cut_off_is_not_graded_wrongly(
    yaw: float, roll: float
) -> None:
    seed = 3
    print("seed", seed)
    rng = random.Random(seed)
    given = wrong = 0
    for n in range(30):
        body = Body(
            movement="single_leg_squat",
            knee_flexion=rng.uniform(45, 70),
            shin=rng.uniform(15, 25),
            stance="left",
            # about where the angle crosses both cut-offs
            swivel=(rng.uniform(5, 20), 0.0),
        )
        camera = Camera(yaw=yaw, roll=roll, distance=3.0, height=0.5, noise=3.5, focal=2400.0)
        filmed = film(body, camera, n)
        clip = clip_of(filmed, "coco17", n)
        for seen in read(clip).observations:
            if seen.finding == "knee_in":
                given += 1
                wrong += seen.grade != clients.true_grade(
                    clip, "knee_in", "left", truth_for(filmed), cutoffs()
                )
    print(f"yaw {yaw} roll {roll}: {given} of 30 graded, {wrong} wrong")
    assert wrong <= LIMIT * 30


CONDITIONS: dict[str, Camera] = {
    "square, 8 m": Camera(distance=8.0, focal=5500.0),
    "square, 3.5 m": Camera(),
    "turned 5": Camera(yaw=5.0),
    "turned 10": Camera(yaw=10.0),
    "rolled 2": Camera(roll=2.0),
    "low, 0.3 m": Camera(height=0.3),
    "high, 1.6 m": Camera(height=1.6),
    "near, 2 m": Camera(distance=2.0, focal=1500.0),
    "noise 1 % of the shank": Camera(noise=3.2),
    "one point in five dropped": Camera(dropped=0.2),
}
ALLOWED = (
    "square, 3.5 m",
    "turned 5",
    "rolled 2",
    "noise 1 % of the shank",
)
"""Within the conditions of use; here the bounds below hold."""
WORST = {
    "arm_angle": 3.0,
    "heel_rise": 3.0,
    "hips_lead": 2.0,
    "knee_flexion": 4.0,
    "knee_medial_shift": 7.0,
    "knee_projection_angle": 9.0,
    "knee_wobble": 1.0,
    "pelvis_drop": 2.5,
    "pelvis_shift": 5.0,
    "shin_angle": 4.5,
    "thigh_angle": 4.0,
    "trunk_beyond_shin": 4.5,
    "trunk_forward_lean": 3.0,
    "trunk_side_lean": 5.0,
}
BODIES: tuple[tuple[Body, View], ...] = (
    (Body(knee_flexion=80.0, swivel=(18.0, 8.0), side_lean=6.0, shift=0.05), "front"),
    (
        Body(
            movement="single_leg_squat",
            knee_flexion=60.0,
            shin=20.0,
            trunk=20.0,
            stance="left",
            swivel=(14.0, 0.0),
            pelvis=8.0,
        ),
        "front",
    ),
    (
        Body(movement="overhead_squat", knee_flexion=100.0, arm_start=175.0, arm_bottom=150.0),
        "side",
    ),
)


@pytest.mark.parametrize("condition", CONDITIONS)
def test_the_error_of_each_measure_by_condition(condition: str) -> None:
    worst: dict[str, float] = {}
    for body, view in BODIES:
        filmed = film(body, replace(CONDITIONS[condition], view=view), 1)
        answer = read(clip_of(filmed, "body33", 1))
        truth = truth_for(filmed)
        for s in answer.summaries:
            key = f"{s.measure}/{s.side}"
            if key in truth:
                worst[s.measure] = max(worst.get(s.measure, 0.0), abs(s.value - truth[key]))
    print(condition, {m: round(e, 1) for m, e in sorted(worst.items())})
    if condition in ALLOWED:
        for measure, error in worst.items():
            assert error <= WORST.get(measure, math.inf), measure


def test_the_spread_covers_the_error_of_the_camera() -> None:
    # errors of all measures over their spreads: at most as large as a standard normal
    seed = 8
    print("seed", seed)
    rng = random.Random(seed)
    ratios: list[float] = []
    for n in range(40):
        movement, view = SCENES[n % len(SCENES)]
        filmed = film(clients.body(rng, movement), clients.camera(rng, view), n)
        truth = truth_for(filmed)
        ratios.extend(
            (s.value - truth[f"{s.measure}/{s.side}"]) / s.spread
            for s in read(clip_of(filmed, "body33", n)).summaries
            if f"{s.measure}/{s.side}" in truth
        )
    size = np.abs(np.array(ratios))
    print(f"{len(ratios)} values, {100 * (size > 1.96).mean():.1f} % beyond 1.96 spreads")
    assert len(ratios) > 200
    assert (size > 1.96).mean() <= 0.05


def test_a_deep_thigh_towards_the_camera_widens_the_spread_and_is_not_passed_on() -> None:
    shallow = read(clip_of(film(Body(knee_flexion=50.0, shin=18.0), Camera())))
    deep = read(clip_of(film(Body(knee_flexion=105.0, shin=28.0), Camera())))
    assert {m.measure for m in shallow.measurements} == {"knee_projection_angle"}
    assert deep.measurements == ()
    assert {"knee_in"} <= {o.finding for o in shallow.observations} | {
        u.finding for u in shallow.uncertain
    }


def test_fewer_repetitions_widen_the_spread() -> None:
    few = read(clip_of(film(Body(repeats=1), Camera(noise=2.0)), seed=1))
    many = read(clip_of(film(Body(repeats=5), Camera(noise=2.0)), seed=1))
    of = {(s.measure, s.side): s for s in many.summaries}
    assert few.summaries
    for s in few.summaries:
        assert s.n == 1 and of[s.measure, s.side].n == 5
        assert s.noise > of[s.measure, s.side].noise


def test_low_confidence_widens_the_spread() -> None:
    clip = clip_of(film(Body(), Camera()))
    doubtful = replace_confidence(clip, 0.4)
    of = {(s.measure, s.side): s for s in read(doubtful).summaries}
    for s in read(clip).summaries:
        assert of[s.measure, s.side].method > s.method


def replace_confidence(clip: Clip, value: float) -> Clip:
    grid = grid_of(clip)
    grid[..., 2] = np.where(grid[..., 2] > 0, value, 0.0)
    return msgspec.structs.replace(clip, frames=frames_of(grid))
