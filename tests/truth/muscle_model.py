"""The muscle action table, computed afresh from the open model `myolegs` of myo-sim 0.2.3.

`python -m tests.truth.muscle_model` prints it, tab-separated. A moment arm is the change of a
muscle's length with the angle, minus sign, by central difference; a torque is the arm times the
muscle's peak isometric force. The knee is a coupled joint: its small sliding and turning follow
its angle by the polynomials that the model itself carries. `knee_in_swivel` turns thigh and shank
together about the line from hip to ankle, foot and pelvis staying where they are.
"""

import contextlib
import csv
import math
import sys
import tempfile
import warnings
from collections.abc import Iterator, Mapping
from typing import NamedTuple

import mujoco
import myo_sim
import numpy as np
from numpy.typing import NDArray

ACTUATORS: Mapping[str, str] = {
    "adductor brevis": "addbrev",
    "adductor longus": "addlong",
    "adductor magnus, distal part": "addmagDist",
    "adductor magnus, hamstring part": "addmagIsch",
    "adductor magnus, middle part": "addmagMid",
    "adductor magnus, proximal part": "addmagProx",
    "biceps femoris, long head": "bflh",
    "biceps femoris, short head": "bfsh",
    "extensor digitorum longus": "edl",
    "extensor hallucis longus": "ehl",
    "fibularis (peroneus) brevis": "perbrev",
    "fibularis (peroneus) longus": "perlong",
    "flexor digitorum longus": "fdl",
    "flexor hallucis longus": "fhl",
    "gastrocnemius, lateral head": "gaslat",
    "gastrocnemius, medial head": "gasmed",
    "gluteus maximus, lower part": "glmax3",
    "gluteus maximus, middle part": "glmax2",
    "gluteus maximus, upper part": "glmax1",
    "gluteus medius, back part": "glmed3",
    "gluteus medius, front part": "glmed1",
    "gluteus medius, middle part": "glmed2",
    "gluteus minimus, back part": "glmin3",
    "gluteus minimus, front part": "glmin1",
    "gluteus minimus, middle part": "glmin2",
    "gracilis": "grac",
    "iliacus": "iliacus",
    "piriformis": "piri",
    "psoas major": "psoas",
    "rectus femoris": "recfem",
    "sartorius": "sart",
    "semimembranosus": "semimem",
    "semitendinosus": "semiten",
    "soleus": "soleus",
    "tensor fasciae latae": "tfl",
    "tibialis anterior": "tibant",
    "tibialis posterior": "tibpost",
    "vastus intermedius": "vasint",
    "vastus lateralis": "vaslat",
    "vastus medialis": "vasmed",
}
HIP = ("hip_flexion_r", "hip_adduction_r", "hip_rotation_r")
JOINTS: Mapping[str, str] = {
    "hip_flexion": "hip_flexion_r",
    "hip_adduction": "hip_adduction_r",
    "hip_internal_rotation": "hip_rotation_r",
    "knee_flexion": "knee_angle_r",
    "ankle_dorsiflexion": "ankle_angle_r",
    "subtalar_inversion": "subtalar_angle_r",
}
SWIVEL = "knee_in_swivel"
WORDS: Mapping[str, tuple[str, str]] = {
    "hip_flexion": ("flexes hip", "extends hip"),
    "hip_adduction": ("adducts", "abducts"),
    "hip_internal_rotation": ("rotates in", "rotates out"),
    "knee_flexion": ("flexes knee", "extends knee"),
    "ankle_dorsiflexion": ("dorsiflexes", "plantarflexes"),
    "subtalar_inversion": ("resists pronation", "drives pronation"),
    SWIVEL: ("drives knee inward", "resists knee inward"),
}
POSTURES: Mapping[str, tuple[float, float, float, float, float]] = {
    "upright": (0, 0, 0, 5, 0),
    "squat_hip30": (30, 0, 0, 35, 12),
    "squat_hip60": (60, 0, 0, 70, 22),
    "squat_hip60_knee_in": (60, 10, 10, 70, 22),
    "squat_hip90": (90, 0, 0, 100, 28),
    "squat_hip90_knee_in": (90, 10, 10, 100, 28),
    "squat_hip110": (110, 0, 0, 115, 29),
}
"""Hip flexion, adduction and internal rotation, knee flexion, ankle dorsiflexion, in degrees."""
STEP_DEG = 0.05
LEAST_MM = 3.0
"""An arm below this is `uncertain`: the models of one lineage differ by as much."""
CROSSES_MM = 0.05
"""A muscle whose arm is smaller in every posture does not cross the joint."""


class ActionRow(NamedTuple):
    """What one muscle does about one motion in one posture, by this model alone."""

    muscle: str
    posture: str
    motion: str
    arm_mm: float
    force_n: float
    torque_nm: float
    action: str


class Leg:
    """The model with its length of every muscle at any angles of the right leg."""

    def __init__(self) -> None:
        # the library writes its warnings to a log file where it stands
        with (
            tempfile.TemporaryDirectory() as aside,
            contextlib.chdir(aside),
            warnings.catch_warnings(),
        ):
            # the package warns of saving a model, which is not done here
            warnings.simplefilter("ignore")
            self.model = myo_sim.load_spec("myolegs").compile()
        self.data = mujoco.MjData(self.model)
        self._coupled = [
            (self.model.joint(a).name, self.model.joint(b).name, tuple(self.model.eq_data[n][:5]))
            for n, (a, b) in enumerate(zip(self.model.eq_obj1id, self.model.eq_obj2id, strict=True))
        ]

    def stand(self, degrees: Mapping[str, float]) -> None:
        """Put the leg at these joint angles, what is coupled following."""
        mujoco.mj_resetData(self.model, self.data)
        for joint, angle in degrees.items():
            self.data.joint(joint).qpos[0] = math.radians(angle)
        for follower, leader, polynomial in self._coupled:
            angle = float(self.data.joint(leader).qpos[0])
            self.data.joint(follower).qpos[0] = sum(
                factor * angle**power for power, factor in enumerate(polynomial)
            )
        mujoco.mj_kinematics(self.model, self.data)
        mujoco.mj_comPos(self.model, self.data)
        mujoco.mj_tendon(self.model, self.data)
        mujoco.mj_transmission(self.model, self.data)

    def arms_mm(self, posture: str, motion: str) -> NDArray[np.float64]:
        """Return the arms of all muscles about one motion in one posture, in millimetres."""
        at = dict(zip((*HIP, "knee_angle_r", "ankle_angle_r"), POSTURES[posture], strict=True))
        if motion != SWIVEL:
            return self._arms(at, JOINTS[motion])
        turns = self._swivel(at)
        return np.sum([turn * self._arms(at, joint) for joint, turn in turns.items()], axis=0)

    def force_n(self, muscle: str) -> float:
        """Return the peak isometric force that this model gives a muscle."""
        return float(self.model.actuator_gainprm[self.place(muscle)][2])

    def place(self, muscle: str) -> int:
        """Return where a muscle of the right leg stands among all muscles."""
        return int(self.model.actuator(f"{ACTUATORS[muscle]}_r").id)

    def _arms(self, at: Mapping[str, float], joint: str) -> NDArray[np.float64]:
        lengths = []
        for step in (STEP_DEG, -STEP_DEG):
            self.stand({**at, joint: at.get(joint, 0.0) + step})
            lengths.append(np.array(self.data.actuator_length))
        return (lengths[1] - lengths[0]) / math.radians(2 * STEP_DEG) * 1000

    def _swivel(self, at: Mapping[str, float]) -> Mapping[str, float]:
        """Return how fast each hip joint turns when the leg turns inward about hip to ankle."""
        self.stand(at)
        joints = [self.model.joint(name).id for name in HIP]
        line = (
            self.data.xanchor[self.model.joint("ankle_angle_r").id] - self.data.xanchor[joints[0]]
        )
        axes = np.array([self.data.xaxis[joint] for joint in joints]).T
        turns = np.linalg.solve(axes, line / np.linalg.norm(line))
        inward = math.copysign(1.0, turns[HIP.index("hip_rotation_r")])
        return dict(zip(HIP, inward * turns, strict=True))


def table(leg: Leg) -> Iterator[ActionRow]:
    """Yield every action of every muscle, in order of muscle, posture and motion."""
    arms = {
        (posture, motion): leg.arms_mm(posture, motion) for posture in POSTURES for motion in WORDS
    }
    for muscle in ACTUATORS:
        at, force = leg.place(muscle), leg.force_n(muscle)
        for posture in POSTURES:
            for motion, (plus, minus) in WORDS.items():
                if max(abs(float(arms[p, motion][at])) for p in POSTURES) < CROSSES_MM:
                    continue
                arm = float(arms[posture, motion][at])
                word = "uncertain" if abs(arm) < LEAST_MM else plus if arm > 0 else minus
                yield ActionRow(
                    muscle, posture, motion, round(arm, 1), round(force),
                    round(arm * force / 1000, 1), word,
                )  # fmt: skip


def main() -> None:
    """Print the table."""
    out = csv.writer(sys.stdout, delimiter="\t", lineterminator="\n", quoting=csv.QUOTE_MINIMAL)
    out.writerow(ActionRow._fields)
    out.writerows(table(Leg()))


if __name__ == "__main__":
    main()
