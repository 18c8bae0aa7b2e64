"""The engine finds every rule it holds, once, with the numbers it reads.

Only a whole pack must have them all.
"""

from collections.abc import Iterator, Mapping

from service.compiler.draft import Draft
from service.model.errors import PackFault
from service.model.knowledge import RuleRecord

CHECK = "rules"
FROM = "from_"
NUMBERS: Mapping[str, frozenset[str]] = {
    "aim_order": frozenset(),
    "build_not_trained": frozenset(),
    "cause_stays": frozenset(("build", "control", "range", "skill", "stance", "unknown_days")),
    "dose_progression": frozenset(("more_reps", "most_more_reps")),
    "drill_pain": frozenset(("easier_from", "stop_from")),
    "ends_in_pattern": frozenset(),
    "finding_change": frozenset(("false_mild_percent", "missed_percent", "mixed_percent")),
    "frequency": frozenset(),
    "helper_then_plain": frozenset(),
    "level_limit": frozenset(),
    "lighter_week": frozenset(("advanced", "fewer_sets", "new", "regular")),
    "new_drill_limit": frozenset(("most",)),
    "no_change": frozenset(("build", "control", "range", "refer_after_weeks", "skill", "stance")),
    "one_rung": frozenset(),
    "over_correction": frozenset(),
    "pain_rose": frozenset(("from", "points")),
    "practice_only": frozenset(),
    "practice_step": frozenset(("least_percent",)),
    "range_limit": frozenset(("later_from_minutes", "most", "most_later")),
    "real_change": frozenset(("listed_percent",)),
    "rest_days": frozenset(("days", "up_to_times_a_week")),
    "rung_progression": frozenset(
        ("below", "control", "helper", "practice", "range", "sessions", "transfer")
    ),
    "series_length": frozenset(("practise", "unsure")),
    "short_dose": frozenset(),
    "static_hold_limit": frozenset(("most_s",)),
    "taught_from_afar": frozenset(),
    "try_before_training": frozenset(("looks",)),
    "variation": frozenset(("after_weeks", "least_percent")),
    "weaker_side_first": frozenset(("extra_sets", "least_lean_percent")),
}
STEPS = "step_limit"


def check(draft: Draft) -> Iterator[PackFault]:
    """Yield a fault for each kind of rule that is missing or doubled, and each wrong number."""
    if draft.lacks("rules"):
        return
    kinds = [rule.kind for rule in draft.live.rules.values()]
    for kind in sorted((*NUMBERS, STEPS)):
        count = sum(one == kind for one in kinds)
        if count != 1:
            yield draft.fault(
                "rules",
                "",
                "kind",
                check=CHECK,
                wrong=f"there are {count} live rules of kind `{kind}`",
                do="keep exactly one",
            )
    for rule in draft.live.rules.values():
        wrong = _steps(rule) if rule.kind == STEPS else _numbers(rule)
        if wrong:
            yield draft.fault(
                "rules", rule.id, "numbers", check=CHECK, wrong=wrong, do="correct the numbers"
            )


def _numbers(rule: RuleRecord) -> str:
    wanted = NUMBERS[rule.kind]
    if set(rule.numbers) != wanted:
        return f"are {_list(rule.numbers)}, and a `{rule.kind}` has {_list(wanted)}"
    if any(number < 0 for number in rule.numbers.values()):
        return "hold one below 0"
    return ""


def _steps(rule: RuleRecord) -> str:
    """Return what is wrong with a step limit: `from_10 = 4` is four steps from ten minutes."""
    minutes = [name.removeprefix(FROM) for name in rule.numbers]
    if not all(m.isdecimal() for m in minutes) or "1" not in minutes:
        return f"are {_list(rule.numbers)}, and must be `{FROM}<minutes>` starting at `{FROM}1`"
    limits = [rule.numbers[f"{FROM}{m}"] for m in sorted(minutes, key=int)]
    if limits != sorted(limits) or limits[0] < 1:
        return "let the step limit fall with minutes, or start below 1"
    return ""


def _list(names: Mapping[str, int] | frozenset[str]) -> str:
    return ", ".join(f"`{name}`" for name in sorted(names)) or "none"
