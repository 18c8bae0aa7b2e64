"""A drill as it stands for one level and target: its doses as options, and what may keep it out.

Apart from the shelf because a row knows nothing of the others.
"""

from collections.abc import Mapping

from service.engine.exchange import Standing, returns
from service.engine.kept import Keeper
from service.model.choice import Option
from service.model.graph import DoseOffer, DrillOffer, Graph
from service.model.knowledge import DrillRecord, RuleRecord
from service.model.quantities import MICRO, Level, TargetId

RANKS: Mapping[Level, int] = {"new": 0, "regular": 1, "advanced": 2}

ENDLESS = 1 << 31
"""Seconds that no session has."""

MOST_HIDDEN = 3
"""Half of what rounding hides at most on one cause: a weight is at most the whole."""


class Portion:
    """One dose of a drill with what it serves, carry-over into the target being one entry more.

    `parts` are (index, returns of the effect) in the order of `effects`, in millionths.
    """

    def __init__(
        self,
        dose: DoseOffer,
        short: bool,
        effects: tuple[tuple[int, int], ...],
        parts: tuple[tuple[int, int], ...],
    ) -> None:
        self.dose = dose
        self.short = short
        self.effects = effects
        self.parts = parts
        self.hidden = 2 * MOST_HIDDEN * len(effects)
        """What rounding hides at most of its worth."""


class Fitting:
    """A dose as an option, extra sets counted or not; whoever knows the drill has its `is_new`."""

    def __init__(self, portion: Portion, option: Option) -> None:
        self.portion = portion
        self.option = option
        self.standing = Standing(option)


class Doses:
    """What a level and a carry-over make of a drill's doses."""

    def __init__(
        self,
        *,
        carried: int,
        fitting: tuple[tuple[Fitting, ...], tuple[Fitting, ...]],
        hidden: int,
        sure_s: int,
    ) -> None:
        self.carried = carried
        """Returns of the full dose's carry-over, 0 without."""
        self.fitting = fitting
        """Those that keep the limit of holds, full before short; without and with extra sets."""
        self.hidden = hidden
        """What rounding hides at most of their worth."""
        self.sure_s = sure_s
        """Seconds within which the last one fits, extra sets included; endless where holds may
        forbid it."""


class Row:
    """A drill as it stands for this level and target, whoever the client is."""

    def __init__(
        self,
        *,
        place: DrillOffer,
        drill: DrillRecord,
        doses: Doses,
        too_hard: bool,
        served: tuple[int, ...],
        ways: tuple[frozenset[str], ...],
        rule_training: str,
        rule_practising: str,
        plain: bool,
    ) -> None:
        kit = drill.kit
        self.place = place
        self.drill = drill
        self.doses = doses
        self.patterned = place.pattern >= 0
        self.too_hard = too_hard
        self.needs_kit = bool(kit[0])
        self.ways = ways
        self.only_kit = kit[0][0] if len(kit) == len(kit[0]) == 1 else ""
        """The one thing it needs, where that is all; else empty."""
        self.each_side = drill.each_side
        self.by_session = drill.aim in ("transfer", "practice")
        """Leans as the whole session does, and not as what it serves."""
        self.served = served
        """Variables that the drill trains."""
        self.rule_training = rule_training
        """Kind of the rule that keeps it out whatever helped, empty if none does."""
        self.rule_practising = rule_practising
        """The same where practice is all that is called for."""
        self.plain = plain
        """Can be a demand: no helper, no kit, not too hard, and a session may end in it."""


def _no_rows(_graph: Graph) -> dict[tuple[str, Level], Row]:
    return {}


_ALONE = Keeper(_no_rows)
"""The rows to which no target is anything."""


def _same(graph: Graph) -> dict[str, tuple[tuple[frozenset[str], ...], tuple[int, ...]]]:
    """Return of each drill its ways and the variables that it trains."""
    return {
        drill.id: (
            tuple([frozenset(way) for way in drill.kit]),
            tuple([graph.variable_of[one.cause] for one in drill.trains]),
        )
        for drill in graph.drills.values()
    }


_SAME = Keeper(_same)


def ends(drill: DrillRecord, target: TargetId) -> bool:
    """Say if a session for the target may end in this drill."""
    return drill.pattern is not None and drill.carries_to.get(target, 0.0) > 0


def rows_of(
    graph: Graph, rules: Mapping[str, RuleRecord], target: TargetId, level: Level
) -> list[Row]:
    """Return a row for each drill; those to which the target is nothing are made once a level."""
    build = frozenset([c.id for c in graph.causes.values() if c.mode == "build"])
    practised = _practised(graph, target)
    same = _ALONE.of(graph)
    rows = []
    for place, drill in zip(graph.offers, graph.drills.values(), strict=True):
        alone = drill.pattern is None and not drill.carries_to.get(target)
        row = same.get((drill.id, level)) if alone else None
        if row is None:
            row = _row(graph, rules, place, drill, target, level, build, practised)
            if alone:
                same[drill.id, level] = row
        rows.append(row)
    return rows


def _row(
    graph: Graph,
    rules: Mapping[str, RuleRecord],
    place: DrillOffer,
    drill: DrillRecord,
    target: TargetId,
    level: Level,
    build: frozenset[str],
    practised: frozenset[str | None],
) -> Row:
    too_hard = RANKS[drill.level] > RANKS[level]
    training = _against_rule(drill, target, build)
    practice = drill.aim == "practice" and drill.pattern in practised
    ways, trained = _SAME.of(graph)[drill.id]
    return Row(
        place=place,
        drill=drill,
        doses=_doses(graph, rules, place, drill, level, drill.carries_to.get(target, 0.0)),
        too_hard=too_hard,
        served=trained,
        ways=ways,
        rule_training=training,
        rule_practising=training if practice else "practice_only",
        plain=drill.helper is None and () in drill.kit and not too_hard and ends(drill, target),
    )


def _doses(
    graph: Graph,
    rules: Mapping[str, RuleRecord],
    place: DrillOffer,
    drill: DrillRecord,
    level: Level,
    carry: float,
) -> Doses:
    """Return the doses of a drill, made once for all targets to which it carries as much."""
    known = _DOSES.of(graph)
    found = known.get((drill.id, level, carry))
    if found is not None:
        return found
    record = graph.doses[drill.dose]
    part = {"new": record.new, "regular": record.regular, "advanced": record.advanced}[level]
    portions = [_portion(graph, place.full[level], carry, short=False)]
    if level in place.short:
        portions.append(_portion(graph, place.short[level], carry * part.short_effect, short=True))
    extra_sets = rules["weaker_side_first"].numbers["extra_sets"]
    hold_s = rules["static_hold_limit"].numbers["most_s"]
    found = known[drill.id, level, carry] = Doses(
        carried=returns(graph.curve, round(carry * MICRO)),
        fitting=(
            _fitting(place, drill, portions, 0, hold_s),
            _fitting(place, drill, portions, extra_sets, hold_s),
        ),
        hidden=max([one.hidden for one in portions]),
        sure_s=_sure_s(portions, extra_sets, hold_s),
    )
    return found


def _no_doses(_graph: Graph) -> dict[tuple[str, Level, float], Doses]:
    return {}


_DOSES = Keeper(_no_doses)


def _fitting(
    place: DrillOffer, drill: DrillRecord, portions: list[Portion], extra_sets: int, hold_s: int
) -> tuple[Fitting, ...]:
    found = []
    for one in portions:
        holds = one.dose.extra_holds if extra_sets else one.dose.holds
        if max([held for _, held in holds], default=0) > hold_s:
            continue
        option = Option(
            drill=place.index,
            dose=1 if one.short else 0,
            aim=drill.aim,
            seconds=one.dose.seconds + extra_sets * one.dose.extra_set_s,
            effects=one.effects,
            ladder=place.ladder,
            region=place.region,
            pattern=place.pattern,
            helper=drill.helper is not None,
            is_new=True,
            holds=holds,
        )
        found.append(Fitting(one, option))
    return tuple(found)


def _sure_s(portions: list[Portion], extra_sets: int, hold_s: int) -> int:
    """Return the seconds of the last dose with extra sets, endless where holds may forbid one."""
    if any(held > hold_s for one in portions for _, held in one.dose.extra_holds):
        return ENDLESS
    dose = portions[-1].dose
    return dose.seconds + extra_sets * dose.extra_set_s


def _portion(graph: Graph, dose: DoseOffer, carry: float, *, short: bool) -> Portion:
    effects = list(dose.effects)
    carried = round(carry * MICRO)
    if carried:
        effects.append((len(graph.causes), carried))
    return Portion(
        dose=dose,
        short=short,
        effects=tuple(effects),
        parts=tuple([(i, returns(graph.curve, effect)) for i, effect in effects]),
    )


def _against_rule(drill: DrillRecord, target: TargetId, build: frozenset[str]) -> str:
    """Return the kind of the rule that keeps the drill out, whatever was tried.

    Practice of no pattern, such as of breathing, is no movement: it enters for what it serves.
    """
    if drill.pattern is None:
        if build.issuperset([served.cause for served in drill.trains]):
            return "build_not_trained"
    elif drill.pattern != target and not ends(drill, target):
        return "ends_in_pattern"
    return ""


def _practised(graph: Graph, target: TargetId) -> frozenset[str | None]:
    """Return the patterns whose practice is practice of the target; None is of no pattern.

    Its own, and those that carry over: what is missing may be the movement that was watched.
    """
    drills = [drill for drill in graph.drills.values() if drill.aim == "practice"]
    return frozenset([None, target, *(d.pattern for d in drills if ends(d, target))])
