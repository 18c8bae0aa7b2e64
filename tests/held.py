"""Whether a session keeps every limit, checked again from the records alone. Apart from the
engine on purpose: nothing of its options, its search or its safety is used here.
"""

import re
from collections import Counter
from collections.abc import Iterator

import msgspec

from service.model.answer import Answer, Step
from service.model.graph import Graph
from service.model.knowledge import CautionRecord, Closes, DoseRow, DrillRecord, Fact
from service.model.quantities import RegionId, Side
from service.model.screen import Screen

LEVELS = ("new", "regular", "advanced")
FLAGS = (
    "balance",
    "braced",
    "head_low",
    "impact",
    "overhead",
    "spine_arches",
    "spine_bends",
    "spine_twists",
)
AIMS = {"range": 0, "control": 1, "transfer": 2, "practice": 2}
FORBIDDEN = re.compile(
    r"injury.risk|risk of injury|prevent|diagnos|q.angle|switch(?:es|ed|ing)? on"
    r"|activat|guarante|wake[sn]? up (?:the|your)|correct(?:s|ing)? (?:the|your) knee"
    r"|foolproof|prehab|bullet.?proof",
    re.IGNORECASE,
)


def forbidden_words(answer: object) -> list[str]:
    """Return the words in anything encodable that may not be served, even denied."""
    text = msgspec.json.encode(answer).decode()
    return [text[max(0, m.start() - 50) : m.end() + 30] for m in FORBIDDEN.finditer(text)]


def broken_limits(answer: Answer, screen: Screen, graph: Graph) -> list[str]:
    """Return every limit that the session breaks, one sentence each."""
    if answer.session is None:
        return []
    steps = answer.session.steps
    return [
        *_minutes_and_steps(answer, screen, graph),
        *(fault for step in steps for fault in _one_step(step, screen, graph)),
        *_order(steps, graph),
        *_rules(answer, screen, graph),
        *_closed(steps, screen, graph),
    ]


def rule(graph: Graph, kind: str) -> dict[str, int]:
    """Return the numbers of the rule of a kind."""
    return next(r.numbers for r in graph.rules.values() if r.kind == kind)


def dose_row(step: Step, screen: Screen, graph: Graph) -> DoseRow:
    """Return the row of the dose for the client's level."""
    dose = graph.doses[graph.drills[step.drill].dose]
    return {"new": dose.new, "regular": dose.regular, "advanced": dose.advanced}[
        screen.client.level
    ]


def _minutes_and_steps(answer: Answer, screen: Screen, graph: Graph) -> Iterator[str]:
    assert answer.session is not None
    steps = answer.session.steps
    if not steps:
        yield "a session without steps"
    seconds = sum(step.seconds for step in steps)
    if seconds > 60 * screen.minutes:
        yield f"{seconds} s in {screen.minutes} minutes"
    if answer.session.minutes != round(seconds / 60, 1):
        yield f"{answer.session.minutes} minutes of {seconds} s"
    if not 0 <= answer.session.value <= 1 + len(steps):
        yield f"value {answer.session.value}"
    limits = rule(graph, "step_limit")
    most = max(n for name, n in limits.items() if screen.minutes >= int(name[5:]))
    if len(steps) > most:
        yield f"{len(steps)} steps, at most {most}"
    drills = [step.drill for step in steps]
    if len(set(drills)) != len(drills):
        yield f"a drill twice: {drills}"


def _one_step(step: Step, screen: Screen, graph: Graph) -> Iterator[str]:
    drill = graph.drills[step.drill]
    if set(step.kit) - set(screen.kit):
        yield f"{drill.id} uses {step.kit} of {screen.kit}"
    if tuple(step.kit) not in [tuple(way) for way in drill.kit]:
        yield f"{drill.id} uses {step.kit}, which is none of its ways"
    if LEVELS.index(drill.level) > LEVELS.index(screen.client.level):
        yield f"{drill.id} is for {drill.level}"
    if screen.setting == "remote" and not drill.remote:
        yield f"{drill.id} is hard to teach at a distance"
    if screen.setting == "remote" and drill.touch_cue and drill.touch_cue in step.cues:
        yield f"{drill.id} gives a touch cue at a distance"
    if drill.id in screen.avoid:
        yield f"{drill.id} is not wanted"
    row = dose_row(step, screen, graph)
    sets = {one.sets for one in step.sides}
    extra = rule(graph, "weaker_side_first")["extra_sets"]
    if drill.each_side != (len(step.sides) == 2):
        yield f"{drill.id} has sides {step.sides}"
    if not sets <= {row.sets, row.sets + extra, row.short_sets, row.short_sets + extra} - {0}:
        yield f"{drill.id} has {sets} sets"
    if len(step.sides) == 2 and step.sides[0].sets < step.sides[1].sets:
        yield f"{drill.id} gives the second side more"
    if step.seconds < _least_seconds(step, drill, graph):
        yield f"{drill.id} in {step.seconds} s is not possible"


def _least_seconds(step: Step, drill: DrillRecord, graph: Graph) -> int:
    """Return the seconds of bare work with its set-up and its change-over, without any rest."""
    one = drill.lower_s + drill.pause_s + drill.lift_s + (step.hold_s or 0)
    work = sum(side.sets for side in step.sides) * (step.reps or 1) * one
    return work + drill.setup_s + graph.decision.changeover_s


def _order(steps: tuple[Step, ...], graph: Graph) -> Iterator[str]:
    ranks = [AIMS[step.aim] for step in steps]
    if ranks != sorted(ranks):
        yield f"aims out of order: {[step.aim for step in steps]}"
    for n, step in enumerate(steps):
        drill = graph.drills[step.drill]
        if drill.helper is None:
            continue
        later = [graph.drills[s.drill] for s in steps[n + 1 :]]
        if not any(d.pattern == drill.pattern and d.helper is None for d in later):
            yield f"{drill.id} is not followed by its pattern without the helper"


def _rules(answer: Answer, screen: Screen, graph: Graph) -> Iterator[str]:
    assert answer.session is not None
    drills = [graph.drills[step.drill] for step in answer.session.steps]
    last = drills[-1]
    if last.pattern is None or not last.carries_to.get(answer.target, 0):  # type: ignore[call-overload,arg-type]
        yield f"the session ends in {last.id}, which is no {answer.target}"
    numbers = rule(graph, "range_limit")
    later = screen.minutes >= numbers["later_from_minutes"]
    regions = [drill.region for drill in drills if drill.aim == "range"]
    if len(regions) > (numbers["most_later"] if later else numbers["most"]):
        yield f"{len(regions)} range drills"
    if len(set(regions)) != len(regions):
        yield f"two range drills for one region: {regions}"
    new = [drill.id for drill in drills if drill.id not in screen.recent]
    if screen.client.level == "new" and len(new) > rule(graph, "new_drill_limit")["most"]:
        yield f"{len(new)} new drills"
    for ladder in graph.ladders.values():
        rungs = [drill.id for drill in drills if drill.id in ladder.rungs]
        if len(rungs) > 1:
            yield f"two rungs of {ladder.id}: {rungs}"
    if answer.verdict == "practise" and any(drill.aim != "practice" for drill in drills):
        yield "practice is called for and something else is planned"
    modes = {graph.causes[one.cause].mode for drill in drills for one in drill.trains}
    if "build" in modes:
        yield "a drill against build"
    yield from _holds(answer.session.steps, graph)


def _holds(steps: tuple[Step, ...], graph: Graph) -> Iterator[str]:
    held: Counter[tuple[str, Side]] = Counter()
    for step in steps:
        drill = graph.drills[step.drill]
        for muscle in drill.stretches:
            for side in step.sides:
                held[muscle, side.side] += side.sets * (step.reps or 1) * (step.hold_s or 0)
    most = rule(graph, "static_hold_limit")["most_s"]
    for (muscle, side), seconds in held.items():
        if seconds + held[muscle, "both"] * (side != "both") > most:
            yield f"{muscle} {side} is stretched {seconds} s"


# --- what cautions close, told from the client's own words ---------------------------------


def _closed(steps: tuple[Step, ...], screen: Screen, graph: Graph) -> Iterator[str]:
    for caution in graph.cautions.values():
        places = list(_places(caution, screen))
        for step in steps:
            drill = graph.drills[step.drill]
            if places and _shut(caution.closes, drill, step, screen, graph):
                yield f"{caution.id} closes {drill.id}"
            for region in places:
                if _shut_here(caution.closes, drill, region):
                    yield f"{caution.id} closes {drill.id} at the {region}"


def _places(caution: CautionRecord, screen: Screen) -> Iterator[RegionId | None]:
    """Yield the regions at which the caution holds, None for the whole body."""
    for facts in caution.when:
        found = [list(_of(fact, screen)) for fact in facts]
        if all(found):
            named = [region for regions in found for region in regions if region != "nowhere"]
            yield from named or [None]  # type: ignore[misc]


def _of(fact: Fact, screen: Screen) -> Iterator[str | None]:
    client = screen.client
    age = client.age_years
    if fact.age_from is not None and (age is None or age < fact.age_from):
        return
    if fact.age_to is not None and (age is None or age > fact.age_to):
        return
    if fact.alert is not None and fact.alert not in (client.alerts or ()):
        return
    readings = [m.value for m in screen.measurements if m.measure == fact.measure]
    if fact.measure is not None and not any(
        (fact.at_least is None or v >= fact.at_least)
        and (fact.at_most is None or v <= fact.at_most)
        for v in readings
    ):
        return
    pain = (fact.pain_any, fact.pain_from, fact.pain_kind, fact.pain_region, fact.pain_when)
    if fact.condition is not None:
        for one in client.conditions or ():
            recent = one.weeks_ago is None or one.weeks_ago <= (fact.within_weeks or 10**6)
            if one.id == fact.condition and recent and fact.cleared in (None, one.cleared):
                yield one.region
    elif any(part is not None for part in pain):
        for hurt in client.pain or ():
            if (
                hurt.score >= max(1, fact.pain_from or 1)
                and fact.pain_kind in (None, hurt.kind)
                and fact.pain_region in (None, hurt.region)
                and fact.pain_when in (None, hurt.when)
            ):
                yield hurt.region
    else:
        yield "nowhere"


def _shut(closes: Closes, drill: DrillRecord, step: Step, screen: Screen, graph: Graph) -> bool:
    held = dose_row(step, screen, graph).hold_s
    return (
        bool(set(closes.regions) & set(drill.loads))
        or drill.position in closes.positions
        or drill.load in closes.loads
        or drill.aim in closes.aims
        or (closes.hold_longer_than_s is not None and held > closes.hold_longer_than_s)
        or (closes.end_range and bool(drill.end_range))
        or any(getattr(closes, flag) and getattr(drill, flag) for flag in FLAGS)
    )


def _shut_here(closes: Closes, drill: DrillRecord, region: RegionId | None) -> bool:
    here = region is None or region in drill.loads
    end = bool(drill.end_range) if region is None else region in drill.end_range
    return (
        (closes.own_region and here)
        or (here and drill.load in closes.own_region_loads)
        or (closes.own_region_end_range and end)
    )
