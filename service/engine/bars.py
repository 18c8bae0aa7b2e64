"""Why a drill is kept out today whatever its dose: the first reason that holds.

Apart from the options because it is about records and rules, and about no seconds.
"""

from service.engine.frame import Closure, Frame
from service.engine.rows import Row
from service.model.quantities import LeftOutReason


def held_back(frame: Frame, row: Row, closure: Closure | None) -> tuple[LeftOutReason, str] | None:
    """Return the first reason against the drill that does not depend on its dose."""
    drill = row.drill
    if closure is not None:
        return closure.reason, closure.by
    if drill.id in frame.avoid:
        return "asked", ""
    if frame.remote and not drill.remote:
        return "setting", ""
    if row.too_hard:
        return "level", drill.level
    if row.needs_kit and lacks_kit(frame, row):
        return "kit", lacking(frame, row)
    practising = frame.wanted.verdict == "practise"
    kind = row.rule_practising if practising else row.rule_training
    alone = kind or drill.aim != "practice" or drill.helper is None
    if not alone and drill.helper not in helping(frame):
        kind = "helper_then_plain"
    return ("rule", frame.shelf.rules[kind].id) if kind else None


def lacks_kit(frame: Frame, row: Row) -> bool:
    """Say if every way of doing the drill needs kit that is not there."""
    return not any(map(frame.kit.issuperset, row.ways))


def lacking(frame: Frame, row: Row) -> str:
    """Return the ids of what is not there, of the way that lacks least."""
    if row.only_kit:
        return row.only_kit
    least: list[str] = min([sorted(way - frame.kit) for way in row.ways], key=_short_first)
    return ", ".join(least)


def _short_first(ids: list[str]) -> tuple[int, list[str]]:
    return len(ids), ids


def helping(frame: Frame) -> frozenset[str]:
    """Return the helpers with which practice makes sense after what was tried.

    Those that helped today. Where practice is all that is called for and nothing helped, an
    untried spoken cue may enter. So two helpers never meet unless both did help.
    """
    wanted = frame.wanted
    if wanted.worked or wanted.verdict != "practise":
        return wanted.worked
    return frozenset({"spoken_cue"}) - wanted.failed
