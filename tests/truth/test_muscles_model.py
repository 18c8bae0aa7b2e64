"""Moment arms at the hip, recomputed from the open model myolegs itself (myo-sim 0.2.3).

A moment arm is the change of a muscle's length with the angle, minus sign, by central
difference. The hip alone is recomputed: the model's knee is a coupled joint.
"""

import contextlib
import math
import warnings

import mujoco
import myo_sim
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.truth.tables import rows

ACTUATORS = {
    "adductor brevis": "addbrev_r",
    "adductor longus": "addlong_r",
    "adductor magnus, hamstring part": "addmagIsch_r",
    "adductor magnus, middle part": "addmagMid_r",
    "gluteus maximus, lower part": "glmax3_r",
    "gluteus maximus, middle part": "glmax2_r",
    "gluteus maximus, upper part": "glmax1_r",
    "gluteus medius, back part": "glmed3_r",
    "gluteus medius, front part": "glmed1_r",
    "gluteus medius, middle part": "glmed2_r",
    "iliacus": "iliacus_r",
    "psoas major": "psoas_r",
}
JOINTS = {
    "hip_adduction": "hip_adduction_r",
    "hip_flexion": "hip_flexion_r",
    "hip_internal_rotation": "hip_rotation_r",
}
FLEXION = {
    "upright": 0.0,
    "squat_hip30": 30.0,
    "squat_hip60": 60.0,
    "squat_hip90": 90.0,
    "squat_hip110": 110.0,
}
STEP_DEG = 0.05
PRINTED_TO_MM = 0.1


class Leg:
    """The model with its length of every muscle at any angle of the hip."""

    def __init__(self) -> None:
        with warnings.catch_warnings():
            # the package warns of saving a model, which is not done here
            warnings.simplefilter("ignore")
            self.model = myo_sim.load_spec("myolegs").compile()
        self.data = mujoco.MjData(self.model)

    def lengths(self, degrees: dict[str, float]) -> NDArray[np.float64]:
        """Return all muscle lengths in metres at these joint angles."""
        mujoco.mj_resetData(self.model, self.data)
        for joint, angle in degrees.items():
            self.data.joint(joint).qpos[0] = math.radians(angle)
        mujoco.mj_kinematics(self.model, self.data)
        mujoco.mj_comPos(self.model, self.data)
        mujoco.mj_tendon(self.model, self.data)
        mujoco.mj_transmission(self.model, self.data)
        return np.array(self.data.actuator_length)

    def arms_mm(self, joint: str, flexion: float) -> NDArray[np.float64]:
        """Return all moment arms about a joint in millimetres."""
        at = {"hip_flexion_r": flexion}
        more, less = (at | {joint: at.get(joint, 0.0) + s * STEP_DEG} for s in (1, -1))
        turned = math.radians(2 * STEP_DEG)
        return -(self.lengths(more) - self.lengths(less)) / turned * 1000


@pytest.fixture(scope="module")
def leg(tmp_path_factory: pytest.TempPathFactory) -> Leg:
    # the library writes its warnings to a log file where it stands
    with contextlib.chdir(tmp_path_factory.mktemp("model")):
        return Leg()


@pytest.mark.parametrize("posture", FLEXION)
def test_the_table_is_what_the_model_computes(leg: Leg, posture: str) -> None:
    compared = 0
    for motion, joint in JOINTS.items():
        arms = leg.arms_mm(joint, FLEXION[posture])
        for row in rows("muscle_action"):
            name = ACTUATORS.get(row["muscle"])
            if name is None or (row["posture"], row["motion"]) != (posture, motion):
                continue
            computed = float(arms[leg.model.actuator(name).id])
            assert computed == pytest.approx(float(row["arm_mm"]), abs=PRINTED_TO_MM), row
            compared += 1
    assert compared >= 33
