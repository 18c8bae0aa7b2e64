"""Why a drill is kept out today whatever its dose: the first reason that holds.

Apart from the options because it is about records and rules, and about no seconds.
"""

from service.engine.frame import RANKS, Closure, Frame, Wanted, ends
from service.model.knowledge import DrillRecord
from service.model.quantities import LeftOutReason


def held_back(
    frame: Frame, drill: DrillRecord, closure: Closure | None
) -> tuple[LeftOutReason, str] | None:
    """Return the first reason against the drill that does not depend on its dose."""
    if closure is not None:
        return closure.reason, closure.by
    if drill.id in frame.avoid:
        return "asked", ""
    if not drill.remote and frame.screen.setting == "remote":
        return "setting", ""
    if RANKS[drill.level] > frame.rank:
        return "level", drill.level
    kit = frame.kit
    if drill.kit[0] and not any(kit.issuperset(way) for way in drill.kit):
        lacking = min([sorted(set(way) - kit) for way in drill.kit], key=_short_first)
        return "kit", ", ".join(lacking)
    kind = _against_rule(frame, drill)
    return ("rule", frame.rules[kind].id) if kind else None


def _short_first(ids: list[str]) -> tuple[int, list[str]]:
    return len(ids), ids


def _against_rule(frame: Frame, drill: DrillRecord) -> str:
    """Return the kind of the rule that keeps the drill out today, empty if none does.

    Practice of no pattern, such as of breathing, is no movement: it enters for what it serves.
    """
    wanted = frame.wanted
    if wanted.verdict == "practise" and (
        drill.aim != "practice" or drill.pattern not in frame.practised
    ):
        return "practice_only"
    if drill.pattern is None:
        if frame.build.issuperset([served.cause for served in drill.trains]):
            return "build_not_trained"
    elif drill.pattern != wanted.target and not ends(drill, frame.target):
        return "ends_in_pattern"
    if drill.aim == "practice" and drill.helper is not None and not _helps(drill.helper, wanted):
        return "helper_then_plain"
    return ""


def _helps(helper: str, wanted: Wanted) -> bool:
    """Say if practice with this helper makes sense after what was tried."""
    if helper in wanted.failed:
        return False
    if wanted.verdict != "practise":
        return True
    return helper in wanted.worked or (not wanted.worked and helper == "spoken_cue")
