"""Looks at events: which observations can be weighed, how well the eye sees, what was tried.

Apart from reading because here one observation meets the pack; reading joins what all of them say.
"""

import msgspec

from service.engine.eye import Eye, Look, eye_of
from service.engine.kept import Keeper
from service.model.graph import Graph
from service.model.network import Report
from service.model.quantities import Side, View
from service.model.records import Leaf
from service.model.screen import Observation, Screen, Trial

REPORTS: dict[str, Report] = {"gone": 0, "better": 1, "same": 2, "worse": 2}
GRADES = ("marked", "mild", "absent")


class Note(Leaf, frozen=True, kw_only=True):
    """A warning before it has words: a code, a pointer into the screen, and its values."""

    code: str
    pointer: str
    values: tuple[tuple[str, str], ...] = ()


class Raw:
    """One usable observation on one side."""

    def __init__(self, pointer: str, seen: Observation, event: int, movement: str) -> None:
        self.pointer = pointer
        self.seen = seen
        self.event = event
        self.movement = movement
        self.view: View = seen.view
        self.absent = seen.grade == "absent"


def expand(screen: Screen, graph: Graph, notes: list[Note]) -> list[Raw]:
    """Return each usable observation once a side."""
    looks, event_of = _LOOKS.of(graph), graph.event_of
    raws: list[Raw] = []
    for n, seen in enumerate(screen.observations):
        pointer, told = f"/observations/{n}", seen.side
        movement, finding = seen.movement, seen.finding
        sided = looks.get((movement, finding, seen.view))
        if sided is None or (sided and told == "none"):
            code = _unusable(seen, graph)
            notes.append(Note(code=code, pointer=pointer, values=names_of(seen)))
            continue
        sides: tuple[Side, ...] = ("left", "right") if told == "both" else (told,)
        if not sided:
            if told != "none":
                notes.append(Note(code="side_ignored", pointer=pointer, values=names_of(seen)))
            sides = ("none",)
        raws += [Raw(pointer, seen, event_of[movement, finding, s], movement) for s in sides]
    return raws


def _looks(graph: Graph) -> dict[tuple[str, str, str], bool]:
    """Return for each (movement, finding, view) that can be weighed if the finding has sides."""
    return {
        look: graph.findings[look[1]].sided
        for look in graph.eyes
        if look[1] in graph.findings and look[0] in graph.movements
        if graph.movements[look[0]].watched
    }


_LOOKS = Keeper(_looks)


def _unusable(seen: Observation, graph: Graph) -> str:
    """Return why an observation that is no look of the pack cannot be weighed."""
    if seen.movement not in graph.movements or not graph.movements[seen.movement].watched:
        return "movement_not_covered"
    finding = graph.findings.get(seen.finding)
    if finding is None:
        return "finding_not_covered"
    if (seen.movement, seen.finding, seen.view) not in graph.eyes:
        return "not_visible"
    return "side_missing"


def names_of(seen: Observation) -> tuple[tuple[str, str], ...]:
    """Return what a warning says of an observation."""
    return (("finding", seen.finding), ("movement", seen.movement), ("view", seen.view))


def one_a_view(raws: list[Raw], notes: list[Note]) -> list[Raw]:
    """Return the plainest look of each view, with a warning for others and where views disagree."""
    kept: dict[View, Raw] = {}
    for raw in sorted(raws, key=_plainest_first):
        if raw.view in kept:
            values = names_of(raw.seen)
            notes.append(Note(code="repeated_observation", pointer=raw.pointer, values=values))
        else:
            kept[raw.view] = raw
    looks = list(kept.values())
    if len({r.absent for r in looks}) > 1:
        values = names_of(looks[0].seen)
        notes.append(Note(code="views_disagree", pointer=looks[0].pointer, values=values))
    return looks


def _plainest_first(raw: Raw) -> tuple[int, View, bytes]:
    return GRADES.index(raw.seen.grade), raw.view, msgspec.json.encode(raw.seen)


def eye_on(event: int, raws: list[Raw], graph: Graph) -> Eye:
    """Return what the looks at an event say together; for one look it is made once for the pack."""
    if len(raws) > 1:
        return _eye_of(event, raws, graph)
    known, raw = _SINGLE.of(graph), raws[0]
    key = (event, raw.view, raw.absent)
    eye = known.get(key)
    if eye is None:
        eye = known[key] = _eye_of(event, raws, graph)
    return eye


def _eye_of(event: int, raws: list[Raw], graph: Graph) -> Eye:
    looks = []
    for seen in [raw.seen for raw in raws]:
        eye = graph.eyes[seen.movement, seen.finding, seen.view]
        there, sensitivity, specificity = seen.grade != "absent", eye.sensitivity, eye.specificity
        looks.append(Look(seen=there, sensitivity=sensitivity, specificity=specificity))
    return eye_of(tuple(sorted(looks)), graph.network.events[event].leak)


def _no_eyes(_graph: Graph) -> dict[tuple[int, View, bool], Eye]:
    return {}


_SINGLE = Keeper(_no_eyes)


def trials_of(
    raws: list[Raw], positive: bool, screen: Screen, graph: Graph, notes: list[Note]
) -> tuple[tuple[Trial, ...], bool]:
    """Return the trials that count, by change, and if half depth was read from the depth."""
    telling = [raw for raw in raws if raw.seen.trials or raw.seen.depth]
    if not telling:
        return (), False
    found: dict[str, Trial] = {}
    for raw in telling:
        tried = list(enumerate(raw.seen.trials))
        if len(tried) > 1:
            tried.sort(key=_trial_order)
        for n, trial in tried:
            change = trial.change
            code = _trial_unusable(change, raw, positive, screen, graph)
            if not code and change in found:
                code = "repeated_change"
            if code:
                pointer = f"{raw.pointer}/trials/{n}"
                values = (("change", change), *names_of(raw.seen))
                notes.append(Note(code=code, pointer=pointer, values=values))
            else:
                found[change] = trial
    told = positive and _read_depth(telling, found, graph, notes)
    return tuple([found[change] for change in sorted(found)]), told


def _trial_order(numbered: tuple[int, Trial]) -> tuple[str, str, str]:
    _, trial = numbered
    return trial.change, trial.result, str(trial.repeats)


def _trial_unusable(told: str, raw: Raw, positive: bool, screen: Screen, graph: Graph) -> str:
    if raw.absent or not positive:
        return "trial_on_absent"
    change = graph.changes.get(told)
    if change is None or raw.movement not in change.movements:
        return "change_not_covered"
    if screen.setting == "remote" and not change.remote:
        return "change_not_remote"
    return ""


def _read_depth(raws: list[Raw], found: dict[str, Trial], graph: Graph, notes: list[Note]) -> bool:
    """Add the trial of half depth that a told depth stands for; say if it was added."""
    change = graph.changes.get("half_depth")
    added = False
    for raw in raws:
        depth = raw.seen.depth
        if depth is None or depth == "mid" or raw.absent:
            continue
        if change is None or raw.movement not in change.movements:
            continue
        told = Trial(change="half_depth", result="gone" if depth == "deep" else "same")
        held = found.setdefault("half_depth", told)
        added = added or held is told
        if REPORTS[held.result] != REPORTS[told.result]:
            notes.append(
                Note(
                    code="depth_conflict", pointer=f"{raw.pointer}/depth", values=names_of(raw.seen)
                )
            )
    return added
