"""The closed vocabularies and bounded numbers of the contract, one name for each idea."""

from typing import Annotated, Literal

from msgspec import Meta

MovementId = Literal[
    "drop_landing",
    "hinge",
    "overhead_press",
    "overhead_reach",
    "overhead_squat",
    "push_up",
    "row",
    "single_leg_squat",
    "single_leg_stance",
    "split_squat",
    "squat",
    "step_down",
]
TargetId = Literal[
    "bench_press",
    "carry",
    "deadlift",
    "drop_landing",
    "hinge",
    "lunge",
    "overhead_press",
    "overhead_reach",
    "overhead_squat",
    "pull_up",
    "push_up",
    "row",
    "single_leg_squat",
    "single_leg_stance",
    "split_squat",
    "squat",
    "step_down",
    "step_up",
    "walk",
]
FindingId = Literal[
    "arch_drop",
    "arms_lose_overhead",
    "blade_wing",
    "breath_held",
    "depth_short",
    "elbows_soften",
    "foot_pivots_out",
    "head_forward",
    "heel_leaves_floor",
    "hips_off_centre",
    "hips_rise_first",
    "knee_in",
    "knee_out",
    "knee_wobble",
    "lumbar_arch",
    "lumbar_round",
    "pelvis_drop",
    "pelvis_tuck",
    "pelvis_turn",
    "ribs_lift",
    "shoulder_hike",
    "shoulder_roll",
    "trunk_forward",
    "trunk_sag",
    "trunk_side_lean",
    "trunk_turn",
    "uneven_speed",
    "upper_back_round",
    "weight_to_toes",
]
ChangeId = Literal[
    "arms_crossed",
    "arms_on_a_slant",
    "arms_wider",
    "barefoot",
    "box_target",
    "breath_out",
    "counterbalance",
    "elbows_tucked",
    "half_depth",
    "hand_support",
    "hands_raised",
    "heels_raised",
    "knees_down",
    "lighter_load",
    "lower_box",
    "seated_support",
    "slow_tempo",
    "spoken_cue",
    "stance_narrower",
    "stance_wider",
    "thumbs_up",
    "toes_out",
    "touch_cue",
    "wrists_straight",
]
MeasureId = Literal[
    "ankle_dorsiflexion",
    "ankle_lunge_angle",
    "ankle_lunge_distance",
    "blade_rest_height",
    "blood_pressure_diastolic",
    "blood_pressure_systolic",
    "forearm_plank_hold",
    "hip_abduction",
    "hip_abduction_strength",
    "hip_adduction_strength",
    "hip_extension",
    "hip_external_rotation",
    "hip_external_rotation_strength",
    "hip_flexion",
    "hip_internal_rotation",
    "knee_flexion",
    "knee_projection_angle",
    "knee_straightening",
    "neck_flexor_hold",
    "one_leg_forward_reach",
    "shoulder_external_rotation",
    "shoulder_flexion",
    "shoulder_internal_rotation",
    "side_plank_hold",
    "single_leg_bridge_hold",
    "single_leg_stance_hold",
    "straight_leg_raise",
    "thoracic_rotation",
    "trunk_extensor_hold",
    "trunk_flexor_hold",
    "wrist_extension",
]
ConditionId = Literal[
    "acute_injury",
    "arthritis",
    "asthma",
    "diabetes",
    "heart_condition",
    "high_blood_pressure",
    "hypermobility",
    "joint_replacement",
    "nerve_condition",
    "osteoporosis",
    "post_natal",
    "pregnancy",
    "recent_surgery",
]
AlertId = Literal[
    "bladder_bowel_change",
    "breathless_at_rest",
    "calf_swelling",
    "cannot_bear_weight",
    "chest_pain_on_effort",
    "fainting",
    "fever_with_pain",
    "giving_way",
    "head_injury",
    "locked_joint",
    "night_pain",
    "numb_saddle",
    "progressive_weakness",
    "unexplained_weight_loss",
]
RegionId = Literal[
    "ankle",
    "elbow",
    "foot",
    "groin",
    "hip",
    "knee",
    "low_back",
    "neck",
    "pelvis",
    "shoulder",
    "upper_back",
    "wrist",
]

LandmarkMeasureId = Literal[
    "arm_angle",
    "arm_loss",
    "foot_turn_out",
    "heel_rise",
    "hips_lead",
    "knee_flexion",
    "knee_medial_shift",
    "knee_projection_angle",
    "knee_projection_excursion",
    "knee_wobble",
    "pelvis_drop",
    "pelvis_shift",
    "shin_angle",
    "thigh_angle",
    "trunk_beyond_shin",
    "trunk_forward_lean",
    "trunk_side_lean",
]
Layout = Literal["body33", "coco17"]
LandmarkUnit = Literal["%", "deg"]

View = Literal["back", "front", "side"]
Side = Literal["both", "left", "none", "right"]
Grade = Literal["absent", "marked", "mild"]
Depth = Literal["deep", "mid", "shallow", "throughout"]
Phase = Literal["bottom", "lowering", "rising"]
Result = Literal["better", "gone", "same", "worse"]
Level = Literal["new", "regular", "advanced"]
Setting = Literal["in_person", "remote"]
Sex = Literal["female", "male"]
PainKind = Literal["burning", "dull", "sharp", "stiff"]
PainWhen = Literal["after", "before", "day_after", "during"]
Unit = Literal["%BW", "%", "cm", "deg", "mm[Hg]", "s"]
"""Of the measures of the pack, and of every answer."""
GivenUnit = Literal[
    "%BW", "%", "[in_i]", "cm", "deg", "kPa", "m", "min", "mm", "mm[Hg]", "rad", "s"
]
"""What a measurement may come in (UCUM); what converts is turned into the measure's unit."""
Explain = Literal["full", "short"]
Include = Literal["firmness", "next_checks", "turning_points"]

Aim = Literal["control", "practice", "range", "transfer"]
Mode = Literal["build", "control", "range", "skill", "stance"]
Verdict = Literal["nothing_found", "practise", "refer", "train", "unsure"]
Urgency = Literal["emergency", "same_day", "soon", "before_training"]
Firmness = Literal["firm", "likely", "open"]
LeftOutReason = Literal[
    "caution", "pain", "asked", "setting", "level", "kit", "rule", "minutes", "outscored"
]
Status = Literal["draft", "live", "retired"]

OpenId = Annotated[str, Meta(min_length=1, max_length=64)]
Text = Annotated[str, Meta(min_length=1)]
Minutes = Annotated[int, Meta(ge=1, le=120)]
Age = Annotated[int, Meta(ge=5, le=110)]
Weeks = Annotated[int, Meta(ge=0, le=2600)]
PainScore = Annotated[int, Meta(ge=0, le=10)]
Reading = Annotated[float, Meta(ge=-1000, le=1000)]
Probability = Annotated[float, Meta(ge=0, le=1)]

MICRO = 1_000_000
"""Value, weight and effect are integers in millionths wherever they are compared or summed."""
