"""The muscle actions of the pack against the table computed from the open model, row by row.

The table is recomputed from the model itself in test_muscles_model.py.
"""

import re
from typing import Literal

from service.model.knowledge import Action
from tests.shipped import shipped_graph
from tests.truth.tables import rows

FibreState = Literal["slack", "mid", "stretched", "unknown"]
STATES: tuple[FibreState, ...] = ("slack", "mid", "stretched")
FLEXED = {
    "squat_hip60",
    "squat_hip60_knee_in",
    "squat_hip90",
    "squat_hip90_knee_in",
    "squat_hip110",
}


def slug(name: str) -> str:
    """Return the id of a muscle of the table."""
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")


def state_of(printed: str) -> FibreState:
    """Return the fibre state as the pack knows it: what the table is unsure of is unknown."""
    for state in STATES:
        if printed == state:
            return state
    return "unknown"


def not_to_be_used(row: dict[str, str]) -> bool:
    """Say if the model is not to be trusted for a row."""
    muscle = slug(row["muscle"])
    if muscle == "rectus_femoris":
        return row["action"].startswith("resists")
    return muscle == "tensor_fasciae_latae" and row["posture"] in FLEXED


def test_every_row_of_the_table_stands_in_the_pack_and_nothing_else_does() -> None:
    wanted = {
        (slug(row["muscle"]), row["posture"], row["motion"]): Action(
            posture=row["posture"],
            motion=row["motion"],
            arm_mm=float(row["arm_mm"]),
            torque_nm=float(row["torque_Nm"]),
            action=row["action"],
            fibre_state=state_of(row["fibre_state"]),
        )
        for row in rows("muscle_action")
        if not not_to_be_used(row)
    }
    held = {
        (muscle.id, action.posture, action.motion): action
        for muscle in shipped_graph().muscles.values()
        for action in muscle.actions
    }
    assert len(wanted) > 900
    assert held == wanted


def test_all_forty_muscles_of_the_table_have_actions() -> None:
    with_actions = {muscle.id for muscle in shipped_graph().muscles.values() if muscle.actions}
    assert with_actions == {slug(row["muscle"]) for row in rows("muscle_action")}
    assert len(with_actions) == 40


def test_deep_in_the_squat_the_front_of_gluteus_medius_rotates_the_thigh_in() -> None:
    # open model myolegs: at 90 degrees of hip flexion the inward rotation has outgrown the rest
    front = shipped_graph().muscles["gluteus_medius_front_part"]
    upright, deep = (
        next(a for a in front.actions if (a.posture, a.motion) == (p, "hip_internal_rotation"))
        for p in ("upright", "squat_hip90")
    )
    assert deep.arm_mm > 3 * upright.arm_mm > 0


def test_every_cause_of_the_leg_lies_in_muscles_that_the_table_knows() -> None:
    graph = shipped_graph()
    leg = ("ankle", "foot", "groin", "hip", "knee")
    causes = [
        cause
        for cause in graph.causes.values()
        if cause.mode in ("control", "range") and cause.region in leg
    ]
    assert len(causes) >= 15
    for cause in causes:
        known = [part.muscle for part in cause.muscles if graph.muscles[part.muscle].actions]
        assert known, cause.id
        # the small muscles of the sole are in no model of this lineage
        assert {part.muscle for part in cause.muscles} - set(known) <= {"plantar_foot_muscles"}
