"""A small pack built by hand, for tests of rooms that need one without the compiler."""

from collections.abc import Sequence
from datetime import date

import msgspec

from service.model.graph import DoseOffer, DrillOffer, Graph, Pack
from service.model.knowledge import (
    CauseRecord,
    Confusion,
    DecisionRecord,
    DoseRecord,
    DoseRow,
    DrillRecord,
    RuleRecord,
)
from service.model.network import Network, Variable
from service.model.quantities import MICRO, Level

LEVELS: tuple[Level, ...] = ("new", "regular", "advanced")
CURVE = ((0, 0), (500_000, 500_000), (1_000_000, 800_000), (2_000_000, 1_000_000))
CAUSES = (
    "ankle_dorsiflexion.range",
    "hip.build",
    "hip_abductors.control",
    "hip_adductors.range",
    "rotary_trunk.control",
    "squat.skill",
)
UNSIDED = {"hip.build", "rotary_trunk.control", "squat.skill"}
PATTERNS = ("hinge", "squat", "split_squat")
REGIONS = ("ankle", "hip", "knee")
RULES: dict[str, dict[str, int]] = {
    "aim_order": {},
    "build_not_trained": {},
    "ends_in_pattern": {},
    "helper_then_plain": {},
    "new_drill_limit": {"most": 3},
    "level_limit": {},
    "one_rung": {},
    "practice_only": {},
    "practice_step": {"least_percent": 20},
    "range_limit": {"most": 1, "most_later": 2, "later_from_minutes": 15},
    "short_dose": {},
    "static_hold_limit": {"most_s": 59},
    "step_limit": {"from_1": 2, "from_5": 3, "from_10": 4, "from_20": 5},
    "taught_from_afar": {},
    "try_before_training": {"looks": 2},
    "weaker_side_first": {"extra_sets": 1, "least_lean_percent": 10},
}
BASE: dict[str, object] = {
    "status": "live",
    "sources": ["practice"],
    "checked": date(2026, 11, 25),
}


def drill(name: str, aim: str, trains: dict[str, float], **more: object) -> DrillRecord:
    """Return a drill of level `new`, without sides or kit, that can be taught at a distance."""
    fields: dict[str, object] = {
        "region": "hip",
        "level": "new",
        "each_side": False,
        "remote": True,
        "dose": "two_sets",
        "setup_s": 10,
        "position": "standing",
        "load": "none",
        "loads": ["hip"],
        "cue": "Stand tall.",
        "good_looks_like": "Level hips.",
        "stop_when": "Stop at pain.",
        "errors": [{"seen": "leans", "fix": "stand"}, {"seen": "rushes", "fix": "slow"}],
        "wrong_when": "Never in this test.",
    }
    served = [{"cause": cause, "effect": effect} for cause, effect in trains.items()]
    record = BASE | fields | {"id": name, "name": name, "aim": aim, "trains": served} | more
    return msgspec.convert(record, DrillRecord)


def small_graph(
    drills: Sequence[DrillRecord],
    *,
    seconds: dict[str, int] | None = None,
    holds: dict[str, int] | None = None,
    ladders: Sequence[Sequence[str]] = (),
    short: Sequence[str] = (),
) -> Graph:
    """Return a graph of these drills, all of them 100 s long, 40 s for one more set, by default.

    `holds` are seconds of static stretch of the calf in one set; every dose has two sets.
    `short` names the drills with a short dose: one set, half the seconds, 0.6 of the effect.
    """
    records = {d.id: d for d in sorted(drills, key=lambda d: d.id)}
    variable_of = {cause: i for i, cause in enumerate(CAUSES)}
    row = DoseRow(sets=2, reps=8, rest_s=20, effort=4, short_sets=1, short_effect=0.6)
    dose = DoseRecord(
        id="two_sets",
        name="two sets",
        status="live",
        sources=("practice",),
        checked=date(2026, 11, 25),
        aim="control",
        times_a_week=3,
        new=row,
        regular=row,
        advanced=row,
    )
    ladder_of = {name: k for k, rungs in enumerate(ladders) for name in rungs}

    def offer(index: int, record: DrillRecord) -> DrillOffer:
        held = (holds or {}).get(record.id, 0)
        whole = (seconds or {}).get(record.id, 100)

        def dose_of(sets: int, part: float) -> DoseOffer:
            return DoseOffer(
                sets=sets,
                reps=8,
                hold_s=held,
                rest_s=20,
                effort=4,
                seconds=whole * sets // 2,
                extra_set_s=40,
                effects=tuple(
                    (variable_of[t.cause], round(t.effect * part * MICRO)) for t in record.trains
                ),
                holds=((0, held * sets),) if held else (),
                extra_holds=((0, held * (sets + 1)),) if held else (),
            )

        return DrillOffer(
            index=index,
            drill=record.id,
            ladder=ladder_of.get(record.id, -1),
            region=REGIONS.index(record.region),
            pattern=-1 if record.pattern is None else PATTERNS.index(record.pattern),
            longest_hold_s=dict.fromkeys(LEVELS, held),
            full=dict.fromkeys(LEVELS, dose_of(2, 1.0)),
            short=dict.fromkeys(LEVELS, dose_of(1, 0.6)) if record.id in short else {},
            easier=None,
            harder=None,
        )

    return Graph(
        pack=Pack(name="small", version="0", digest=""),
        decision=_decision(),
        movements={},
        findings={},
        causes={cause: _cause(cause) for cause in CAUSES},
        links={},
        changes={},
        cutoffs={},
        measures={},
        muscles={},
        figure=None,
        postures={},
        drills=records,
        ladders={},
        kit={},
        cautions={},
        alerts={},
        rules={kind: _rule(kind, numbers) for kind, numbers in RULES.items()},
        doses={"two_sets": dose},
        sources={},
        texts={},
        network=Network(
            variables=tuple(
                Variable(
                    id=c, sided=c not in UNSIDED, prior=(0.5, 0.5) if c in UNSIDED else (0.25,) * 4
                )
                for c in CAUSES
            ),
            events=(),
            changes=(),
            confusion=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
            order=tuple(range(len(CAUSES))),
            work_budget=1_000_000,
        ),
        variable_of=variable_of,
        change_of={},
        events=(),
        event_of={},
        eyes={},
        link_of={},
        weights={},
        targets=PATTERNS,
        offers=tuple(offer(i, record) for i, record in enumerate(records.values())),
        curve=CURVE,
    )


def _cause(name: str) -> CauseRecord:
    stem, mode = name.split(".")
    fields = {
        "id": name,
        "name": name,
        "stem": stem,
        "mode": mode,
        "sided": name not in UNSIDED,
        "region": "hip",
        "prior": 0.3,
        "means": "A test.",
        "wrong_when": "Never in this test.",
    }
    return msgspec.convert(BASE | fields, CauseRecord)


def _rule(kind: str, numbers: dict[str, int]) -> RuleRecord:
    fields = {"id": f"rule_{kind}", "name": kind, "kind": kind, "numbers": numbers, "say": "So."}
    return msgspec.convert(BASE | fields, RuleRecord)


def _decision() -> DecisionRecord:
    sure = {"gone": 0.0, "better": 0.0, "same": 0.0}
    confusion = {true: sure | {true: 1.0} for true in sure}
    fields = {
        "id": "decision",
        "name": "decision",
        "grade_leak": {"mild": 1.0, "marked": 1.0},
        "grade_weight": {"mild": 0.5, "marked": 1.0},
        "confusion": msgspec.convert(confusion, Confusion),
        "lr_limit": 30.0,
        "returns": [[x / MICRO, y / MICRO] for x, y in CURVE],
        "price": 0.02,
        "practise_from": 0.6,
        "train_from": 0.5,
        "present_from": 0.5,
        "carry_weight": 0.25,
        "changeover_s": 15,
        "retest_weeks": {},
        "work_budget": 1_000_000,
        "checks_compared": 30,
        "checks_planned": 8,
        "checks_work": 600,
        "least_gain": 0.0,
        "look_s": 30,
        "bins": [0.1, 0.5],
        "link_spread": 0.25,
        "disagree_from": 0.7,
    }
    return msgspec.convert(BASE | fields, DecisionRecord)
