"""What the numbers of the contract mean, with their units: words that no type can carry."""

from collections.abc import Mapping
from types import MappingProxyType

WORDS: Mapping[str, str] = MappingProxyType(
    {
        "Answer.decision": "SHA-256 that names what was decided on: screen, pack and service.",
        "Because.moved": "Change in the log odds (natural log) that this evidence made.",
        "Because.value": "The measured value, in `unit`.",
        "CatalogKind.count": "Live records of the kind.",
        "CauseAnswer.belief": "Probability that the cause is present, 0 to 1.",
        "CauseAnswer.weight": "Part of what was seen, weighted for the target, that the cause "
        "accounts for, 0 to 1. Causes are ordered by it.",
        "Client.age_years": "Age in whole years.",
        "Client.alerts": "Null or missing means not asked; an empty list means asked, none.",
        "Client.conditions": "Null or missing means not asked; an empty list means asked, none.",
        "Client.pain": "Null or missing means not asked; an empty list means asked, none.",
        "Client.ref": "A reference of the caller's own, returned as sent; do not send a name.",
        "Condition.weeks_ago": "Age of the condition in weeks; missing means recent.",
        "Explains.share": "Probability that this cause made the finding appear, 0 to 1.",
        "LeftOut.count": "How many drills this reason kept out.",
        "Measurement.n": "Repetitions that the value stands for.",
        "Measurement.spread": "One standard error of the value, in `unit`; kept, not weighed.",
        "Measurement.value": "The value in `unit`.",
        "Observation.n": "Repetitions that the grade stands for.",
        "Observation.depth": "Where in the movement it shows.",
        "Observation.spread": "One standard error of the value behind the grade; not weighed.",
        "Pain.score": "Pain from 0, none, to 10, the worst imaginable.",
        "Problem.status": "The HTTP status of this answer.",
        "Retest.mdc95": "Smallest change that is more than noise (95 per cent), in `unit`.",
        "Retest.weeks": "Weeks from now.",
        "Screen.avoid": "Ids of drills that are not wanted.",
        "Screen.kit": "Ids of the equipment in the room; floor, wall and body always are.",
        "Screen.minutes": "Minutes there are today.",
        "Screen.recent": "Ids of drills that the client knows.",
        "Screen.target": "What to train towards; missing means the first movement with a finding.",
        "Session.minutes": "Minutes that the steps take, with rest and change-over.",
        "Session.value": "Part of what was seen that today addresses, 0 to 1.",
        "SideDose.sets": "Sets on this side.",
        "Step.effort": "Repetitions left in reserve at the end of a set.",
        "Step.hold_s": "Seconds held in each repetition.",
        "Step.reps": "Repetitions in a set.",
        "Step.rest_s": "Seconds of rest between sets.",
        "Step.seconds": "Seconds that the whole step takes.",
        "Step.times_a_week": "Days a week on which to do it.",
        "Tempo.lift_s": "Seconds on the way up.",
        "Tempo.lower_s": "Seconds on the way down.",
        "Tempo.pause_s": "Seconds held in between.",
    }
)
"""`Struct.field` -> description."""
