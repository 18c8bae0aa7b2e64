"""The questions, one step after the other: each is made from the pack and the answers before it.

A step that has nothing to ask is left out, so sides and tried changes are asked only for what
was seen.
"""

from collections.abc import Callable, Iterable
from typing import get_args

from msgspec import Struct

from service.engine.languages import graph_in, language_of
from service.engine.words import Words
from service.model.graph import Graph
from service.model.knowledge import Closes, Fact, FindingRecord
from service.model.quantities import (
    AlertId,
    ConditionId,
    PainKind,
    PainWhen,
    RegionId,
    Urgency,
    View,
)
from service.web.kiosk.form import Answers, Group, Option, Part

NONE = "none"
ALL_ALONG = "all"
STAYED = "stayed"
UNSURE = "unsure"
URGENCIES: tuple[Urgency, ...] = ("emergency", "same_day", "soon", "before_training")
LEVELS = ("new", "regular", "advanced")
MOMENTS = ("lowering", "bottom", "rising")
RESULTS = ("gone", "better", "same", "worse")
MOST_TRIED = 6
"""As many changes as a screen takes of one observation."""
SIDES = ("left", "right", "both")


class Asker:
    """Asks in one language. Labels are in its words, values are ids."""

    def __init__(self, graph: Graph, language: str | None) -> None:
        self.pack = graph
        self.language = language_of(language, graph)
        self.graph = graph_in(graph, self.language)
        self.words = Words(self.graph, self.language)

    def say(self, code: str, **values: object) -> str:
        """The words of the page for a code."""
        return self.words.say(f"kiosk_{code}", **values)

    def region(self, region: str) -> str:
        """A region as it stands alone."""
        return capital(self.words.say(f"region_{region}"))

    def options(self, prefix: str, values: Iterable[str]) -> tuple[Part, ...]:
        """One part whose labels are words of the page."""
        return (Part(options=tuple(Option(value=v, label=self.say(f"{prefix}_{v}"))
                                   for v in values)),)  # fmt: skip

    def regions(self, first: Iterable[Option] = ()) -> tuple[Part, ...]:
        """The regions by name, after other options."""
        named = (Option(value=one, label=self.region(one)) for one in get_args(RegionId))
        return (Part(options=(*first, *by_label(named))),)


class Step(Struct, frozen=True, kw_only=True):
    """One page of questions; `id` is also what its words are called."""

    id: str
    groups: Callable[[Asker, Answers], tuple[Group, ...]]


def capital(text: str) -> str:
    """A text with a capital at its beginning."""
    return text[:1].upper() + text[1:]


def by_label(options: Iterable[Option]) -> tuple[Option, ...]:
    """Options in alphabetical order of what is read."""
    return tuple(sorted(options, key=lambda one: (one.label.casefold(), one.value)))


def ticked(answers: Answers, name: str) -> tuple[str, ...]:
    """What was chosen in a group, without `none`."""
    return tuple(one for one in answers.get(name, ()) if one != NONE)


def first(answers: Answers, name: str) -> str:
    """What was chosen in a group of one choice, or nothing."""
    return "".join(answers.get(name, ())[:1])


# --- safety -------------------------------------------------------------------------------


def _alerts(ask: Asker, _: Answers) -> tuple[Group, ...]:
    parts = []
    for urgency in URGENCIES:
        options = [
            Option(value=one, label=ask.graph.alerts[one].ask)
            for one in get_args(AlertId)
            if one in ask.graph.alerts and ask.graph.alerts[one].urgency == urgency
        ]
        if options:
            parts.append(Part(legend=ask.say(f"urgency_{urgency}"), options=tuple(options)))
    none = Option(value=NONE, label=ask.say("alerts_none"))
    parts.append(Part(legend=ask.say("otherwise"), options=(none,)))
    return (_many(ask, "alerts", tuple(parts)),)


def _pain(ask: Asker, _: Answers) -> tuple[Group, ...]:
    none = Option(value=NONE, label=ask.say("pain_none"))
    return (_many(ask, "pain", ask.regions((none,))),)


def _pain_more(ask: Asker, answers: Answers) -> tuple[Group, ...]:
    groups = []
    for region in ticked(answers, "pain"):
        where = ask.region(region)
        scores = (Part(options=tuple(Option(value=str(n), label=ask.say(f"score_{n}")
                                            if n in (0, 10) else str(n))
                                     for n in range(11))),)  # fmt: skip
        groups += [
            Group(name=f"pain.{region}.score", kind="list", parts=scores,
                  legend=ask.say("pain_score", region=where)),
            Group(name=f"pain.{region}.side", kind="one",
                  parts=ask.options("side", (*SIDES, NONE)),
                  legend=ask.say("which_side", what=where)),
            Group(name=f"pain.{region}.kind", kind="list", needed=False,
                  parts=ask.options("pain", get_args(PainKind)),
                  legend=ask.say("pain_kind", region=where)),
            Group(name=f"pain.{region}.when", kind="list", needed=False,
                  parts=ask.options("pain", get_args(PainWhen)),
                  legend=ask.say("pain_when", region=where)),
        ]  # fmt: skip
    return tuple(groups)


def _conditions(ask: Asker, _: Answers) -> tuple[Group, ...]:
    none = Option(value=NONE, label=ask.say("conditions_none"))
    named = (Option(value=one, label=_condition(ask, one)) for one in get_args(ConditionId))
    return (_many(ask, "conditions", (Part(options=(none, *by_label(named))),)),)


def _condition(ask: Asker, condition: str) -> str:
    return ask.say(f"condition_{condition}")


def _conditions_more(ask: Asker, answers: Answers) -> tuple[Group, ...]:
    groups = []
    for condition in ticked(answers, "conditions"):
        name = _condition(ask, condition)
        facts = [fact for fact in _facts(ask.pack) if fact.condition == condition]
        if _is_of_a_region(ask.pack, condition):
            whole = Option(value=NONE, label=ask.say("whole_body"))
            groups += [
                Group(name=f"condition.{condition}.region", kind="list",
                      parts=ask.regions((whole,)), legend=ask.say("condition_where", what=name)),
                Group(name=f"condition.{condition}.side", kind="one",
                      parts=ask.options("side", (*SIDES, NONE)),
                      legend=ask.say("which_side", what=name)),
            ]  # fmt: skip
        if any(fact.within_weeks is not None for fact in facts):
            groups.append(
                Group(name=f"condition.{condition}.weeks", kind="number", needed=False, high=2600,
                      legend=ask.say("condition_weeks", what=name), note=ask.say("may_stay_open"))
            )  # fmt: skip
        if any(fact.cleared is not None for fact in facts):
            groups.append(
                Group(name=f"condition.{condition}.cleared", kind="one",
                      parts=ask.options("cleared", ("yes", "no")),
                      legend=ask.say("condition_cleared", what=name))
            )  # fmt: skip
    return tuple(groups)


def _facts(graph: Graph) -> Iterable[Fact]:
    whens = [one.when for one in graph.alerts.values()]
    whens += [one.when for one in graph.cautions.values()]
    for rows in whens:
        for row in rows:
            yield from row


def _is_of_a_region(graph: Graph, condition: str) -> bool:
    """Whether some caution of the condition closes the region that the condition names."""
    return any(
        _closes_its_region(caution.closes)
        and any(fact.condition == condition for row in caution.when for fact in row)
        for caution in graph.cautions.values()
    )


def _closes_its_region(closes: Closes) -> bool:
    return closes.own_region or closes.own_region_end_range or bool(closes.own_region_loads)


def _age(ask: Asker, _: Answers) -> tuple[Group, ...]:
    return (
        Group(name="age", kind="number", needed=False, low=5, high=110,
              legend=ask.say("age_legend"), note=ask.say("may_stay_open")),
    )  # fmt: skip


# --- what was watched ---------------------------------------------------------------------


def _movement(ask: Asker, _: Answers) -> tuple[Group, ...]:
    watched = (
        Option(value=one.id, label=one.name, note=one.how)
        for one in ask.graph.movements.values()
        if one.watched
    )
    return (
        Group(name="movement", kind="one", parts=(Part(options=by_label(watched)),),
              legend=ask.say("movement_legend")),
    )  # fmt: skip


def _stood(ask: Asker, answers: Answers) -> tuple[Group, ...]:
    seen_from = {
        view for movement, _, view in ask.pack.eyes if movement == first(answers, "movement")
    }
    views = [view for view in get_args(View) if view in seen_from]
    return (_many(ask, "stood", ask.options("stood", views)),) if views else ()


def _left_path(ask: Asker, answers: Answers) -> tuple[Group, ...]:
    slow = ask.pack.changes.get("slow_tempo")
    # a movement that cannot be slowed has no way down and up: it is held
    if slow is None or first(answers, "movement") not in slow.movements:
        return ()
    moments = (*MOMENTS, ALL_ALONG, UNSURE, STAYED)
    return (
        Group(name="left_path", kind="one", parts=ask.options("left_path", moments),
              legend=ask.say("left_path_legend")),
    )  # fmt: skip


def visible(ask: Asker, answers: Answers) -> tuple[str, ...]:
    """Ids of the findings that could be seen from where the trainer stood.

    Those worth looking for come first, in the pack's order, then the others by name.
    """
    movement = first(answers, "movement")
    if movement not in ask.pack.movements:
        return ()
    stood = answers.get("stood", ())
    here = {f for m, f, view in ask.pack.eyes if m == movement and view in stood}
    told = [look.finding for look in ask.pack.movements[movement].look_for]
    rest = sorted(here - set(told), key=lambda one: ask.graph.findings[one].name.casefold())
    return tuple(one for one in (*told, *rest) if one in here)


def _finding(ask: Asker, finding: str) -> Option:
    record: FindingRecord = ask.graph.findings[finding]
    return Option(value=finding, label=record.name, note=record.looks_like)


def _seen(ask: Asker, answers: Answers) -> tuple[Group, ...]:
    found = visible(ask, answers)
    if not found or first(answers, "left_path") == STAYED:
        return ()
    telling = {look.finding for look in ask.pack.movements[first(answers, "movement")].look_for}
    parts = []
    for part, wanted in (("first", True), ("rest", False)):
        options = tuple(_finding(ask, one) for one in found if (one in telling) is wanted)
        if options:
            parts.append(Part(legend=ask.say(f"seen_{part}"), options=options))
    none = Option(value=NONE, label=ask.say("seen_none"))
    parts.append(Part(legend=ask.say("otherwise"), options=(none,)))
    return (_many(ask, "seen", tuple(parts)),)


def _seen_more(ask: Asker, answers: Answers) -> tuple[Group, ...]:
    groups = []
    for finding in ticked(answers, "seen"):
        record = ask.graph.findings[finding]
        if record.sided:
            groups.append(
                Group(name=f"seen.{finding}.side", kind="one", parts=ask.options("side", SIDES),
                      legend=ask.say("which_side", what=record.name), note=record.looks_like)
            )  # fmt: skip
        groups.append(
            Group(name=f"seen.{finding}.grade", kind="one",
                  parts=ask.options("grade", ("mild", "marked")),
                  legend=ask.say("how_clearly", what=record.name))
        )  # fmt: skip
    return tuple(groups)


def _not_there(ask: Asker, answers: Answers) -> tuple[Group, ...]:
    rest = [one for one in visible(ask, answers) if one not in answers.get("seen", ())]
    if not rest:
        return ()
    options = tuple(_finding(ask, one) for one in rest)
    return (
        Group(name="not_there", kind="many", needed=False, parts=(Part(options=options),),
              legend=ask.say("not_there_legend"), note=ask.say("not_there_why")),
    )  # fmt: skip


# --- what was tried -----------------------------------------------------------------------


def _tried(ask: Asker, answers: Answers) -> tuple[Group, ...]:
    movement = first(answers, "movement")
    changes = by_label(
        Option(value=one.id, label=one.name, note=one.how)
        for one in ask.graph.changes.values()
        if movement in one.movements
    )
    if not ticked(answers, "seen") or not changes:
        return ()
    none = Option(value=NONE, label=ask.say("tried_none"))
    return (_many(ask, "tried", (Part(options=(none, *changes)),), most=MOST_TRIED),)


def _tried_more(ask: Asker, answers: Answers) -> tuple[Group, ...]:
    return tuple(
        Group(name=f"tried.{change}.{finding}", kind="one",
              parts=ask.options("result", (*RESULTS, NONE)),
              legend=ask.say("what_happened", change=ask.graph.changes[change].name,
                             finding=ask.graph.findings[finding].name))
        for change in ticked(answers, "tried")
        for finding in ticked(answers, "seen")
    )  # fmt: skip


# --- today --------------------------------------------------------------------------------


def _kit(ask: Asker, _: Answers) -> tuple[Group, ...]:
    options = by_label(
        Option(value=one.id, label=capital(one.name))
        for one in ask.graph.kit.values()
        if not one.measuring
    )
    return (
        Group(name="kit", kind="many", needed=False, parts=(Part(options=options),),
              legend=ask.say("kit_legend"), note=ask.say("kit_always")),
    )  # fmt: skip


def _today(ask: Asker, answers: Answers) -> tuple[Group, ...]:
    targets = by_label(
        Option(value=one, label=ask.graph.movements[one].name) for one in ask.pack.targets
    )
    return (
        Group(name="minutes", kind="number", low=1, high=120, preset="10",
              legend=ask.say("minutes_legend")),
        Group(name="level", kind="one", parts=ask.options("level", LEVELS), preset=LEVELS[0],
              legend=ask.say("level_legend")),
        Group(name="target", kind="list", parts=(Part(options=targets),),
              preset=first(answers, "movement"), legend=ask.say("target_legend")),
    )  # fmt: skip


def _many(ask: Asker, name: str, parts: tuple[Part, ...], most: int = 0) -> Group:
    legend = ask.say(f"{name}_legend")
    return Group(name=name, kind="many", parts=parts, none=NONE, legend=legend, high=most)


SAFETY = ("alerts", "pain", "pain_more", "conditions", "conditions_more", "age")
STEPS: tuple[Step, ...] = (
    Step(id="alerts", groups=_alerts),
    Step(id="pain", groups=_pain),
    Step(id="pain_more", groups=_pain_more),
    Step(id="conditions", groups=_conditions),
    Step(id="conditions_more", groups=_conditions_more),
    Step(id="age", groups=_age),
    Step(id="movement", groups=_movement),
    Step(id="stood", groups=_stood),
    Step(id="left_path", groups=_left_path),
    Step(id="seen", groups=_seen),
    Step(id="seen_more", groups=_seen_more),
    Step(id="not_there", groups=_not_there),
    Step(id="tried", groups=_tried),
    Step(id="tried_more", groups=_tried_more),
    Step(id="kit", groups=_kit),
    Step(id="today", groups=_today),
)
"""In the order of a visit."""
