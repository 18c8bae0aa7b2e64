"""Joint angles of the open model myolegs (myo-sim 0.2.3), read back from a film of it.

No general-purpose package was found that carries recorded landmarks of a squat with reference
angles, so a model of the skeleton made by others stands in: its joints are set, its joint centres
are filmed, and the angles that come out are held against those that were set. The model's axes
and joint centres are anatomical: segments do not meet in a straight line at zero, so changes from
standing are compared.
"""

import contextlib
import math
import warnings

import mujoco
import myo_sim
import numpy as np
import pytest
from numpy.typing import NDArray

from service.model.landmarks import LandmarkAnswer
from service.model.quantities import MovementId
from tests.landmarks.figures import Body, Camera, Filmed, clip_of
from tests.landmarks.pack import read

FPS, SECONDS, REST, REPEATS = 30.0, 3.0, 0.7, 3
SIDE_CAMERA = Camera(view="side", distance=4.0, noise=1.5)


class Skeleton:
    """The model, its joint centres at any joint angles, and a squat made of them."""

    def __init__(self) -> None:
        with warnings.catch_warnings():
            # the package warns of saving a model, which is not done here
            warnings.simplefilter("ignore")
            self.model = myo_sim.load_spec("myolegs").compile()
        self.data = mujoco.MjData(self.model)

    def centres(self, degrees: dict[str, float]) -> dict[str, NDArray[np.float64]]:
        """Return hip, knee, ankle of both sides, the right ankle being the origin."""
        mujoco.mj_resetData(self.model, self.data)
        for joint, angle in degrees.items():
            for side in ("l", "r"):
                self.data.joint(f"{joint}_{side}").qpos[0] = math.radians(angle)
        mujoco.mj_kinematics(self.model, self.data)
        out = {}
        for side, name in (("l", "left"), ("r", "right")):
            for body, joint in (("femur", "hip"), ("tibia", "knee"), ("talus", "ankle")):
                out[f"{name}_{joint}"] = np.array(self.data.body(f"{body}_{side}").xpos)
        return out

    def film(self, bottom: dict[str, float], camera: Camera, movement: MovementId) -> Filmed:
        """Return repetitions from standing to these joint angles and back, the feet still."""
        count = round((REST + REPEATS * (SECONDS + REST)) * FPS) + 1
        time = np.arange(count) / FPS
        phase = (time - REST) % (SECONDS + REST)
        moving = (time >= REST) & (phase < SECONDS)
        part = np.where(moving, 0.5 - 0.5 * np.cos(2 * math.pi * phase / SECONDS), 0.0)
        frames = [self.centres({j: a * p for j, a in bottom.items()}) for p in part]
        points = {name: np.array([frame[name] for frame in frames]) for name in frames[0]}
        return Filmed(
            body=Body(movement=movement), camera=camera, points=placed(points, bottom, part)
        )


def placed(
    points: dict[str, NDArray[np.float64]], bottom: dict[str, float], part: NDArray[np.float64]
) -> dict[str, NDArray[np.float64]]:
    """Return the joints in the figure's frame, the shins leaning as the ankle bends.

    The model hangs from its pelvis. Here the pelvis tips until the shin stands as the ankle's
    angle asks for, and the whole is moved until the feet stay in place.
    """
    left = points["left_hip"][0] - points["right_hip"][0]
    left /= np.linalg.norm(left)
    up = np.array([0.0, 0.0, 1.0])
    ahead = np.cross(left, up)
    knee = points["right_knee"][int(np.argmax(part))]
    if (knee - points["right_hip"][0]) @ ahead < 0:
        ahead = -ahead
    local = {
        name: np.stack([at @ left, at @ ahead, at @ up], axis=1) for name, at in points.items()
    }
    shin = local["right_knee"] - local["right_ankle"]
    now = np.arctan2(shin[:, 1], shin[:, 2])
    turn = np.radians(bottom["ankle_angle"]) * part - now
    out = {}
    for name, at in local.items():
        y = at[:, 1] * np.cos(turn) + at[:, 2] * np.sin(turn)
        z = at[:, 2] * np.cos(turn) - at[:, 1] * np.sin(turn)
        out[name] = np.stack([at[:, 0], y, z], axis=1)
    foot = (out["left_ankle"] + out["right_ankle"]) / 2 - np.array([0.0, 0.0, 0.08])
    out = {name: at - foot for name, at in out.items()}
    for side, sign in (("left", 1.0), ("right", -1.0)):
        # the model has no arms: shoulders stand upright over the hips
        out[f"{side}_shoulder"] = (out["left_hip"] + out["right_hip"]) / 2 + np.array(
            [0.18 * sign, 0.02, 0.5]
        )
    return out


@pytest.fixture(scope="module")
def skeleton(tmp_path_factory: pytest.TempPathFactory) -> Skeleton:
    # the library writes its warnings to a log file where it stands
    with contextlib.chdir(tmp_path_factory.mktemp("model")):
        return Skeleton()


def value(answer: LandmarkAnswer, measure: str, side: str) -> float:
    return next(s.value for s in answer.summaries if (s.measure, s.side) == (measure, side))


@pytest.mark.parametrize("hip", [40.0, 60.0, 80.0])
def test_knee_bend_and_depth_from_the_side_are_the_joint_angles_that_were_set(
    skeleton: Skeleton, hip: float
) -> None:
    bottom = {"hip_flexion": hip, "knee_angle": hip + 15.0, "ankle_angle": 18.0}
    filmed = skeleton.film(bottom, SIDE_CAMERA, "squat")
    answer = read(clip_of(filmed, "coco17", 3))
    assert len(answer.repetitions) == REPEATS
    zero = skeleton.film(dict.fromkeys(bottom, 0.0), SIDE_CAMERA, "squat")
    for side in ("left", "right"):
        rest = bend(zero, side)
        found = value(answer, "knee_flexion", side) - rest
        print(f"hip {hip} {side}: knee {found:.1f} for {bottom['knee_angle']}")
        assert found == pytest.approx(bottom["knee_angle"], abs=4.0)
        assert value(answer, "shin_angle", side) == pytest.approx(18.0, abs=2.0)


def bend(filmed: Filmed, side: str) -> float:
    """Return the angle between the model's own thigh and shin, seen from the side, standing."""
    hip, knee, ankle = (filmed.points[f"{side}_{j}"][0] for j in ("hip", "knee", "ankle"))
    thigh = math.atan2((knee - hip)[1], (hip - knee)[2])
    return math.degrees(thigh + math.atan2((knee - ankle)[1], (knee - ankle)[2]))
