"""Every live record does something in some answer: whatever nothing exercises is a failure."""

import math
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest

from service.authoring.coverage import used_in, used_in_reviews, used_in_weeks
from service.engine.infer import infer
from service.engine.limits import cautions_of
from service.engine.measured import read_measurements
from service.engine.plan import plan
from service.engine.read import read
from service.engine.safety import judge
from service.model.graph import Graph
from service.model.knowledge import Closes, DrillRecord, Fact, LinkRecord
from service.model.quantities import Side
from service.model.screen import (
    Client,
    Condition,
    Known,
    Measurement,
    Observation,
    Pain,
    Screen,
    Trial,
)
from tests.held import AIMS
from tests.shipped import shipped_graph
from tests.strategies import random_screen

GRAPH = shipped_graph()
HEALTHY = Client(alerts=(), conditions=(), pain=())


def looked(graph: Graph, movement: str, finding: str, *trials: Trial) -> Observation:
    """Return a plain sighting from the first view that has an eye."""
    view = next(v for m, f, v in graph.eyes if (m, f) == (movement, finding))
    return Observation(
        movement=movement,  # type: ignore[arg-type]
        view=view,  # type: ignore[arg-type]
        finding=finding,  # type: ignore[arg-type]
        side="both" if graph.findings[finding].sided else "none",
        grade="marked",
        trials=trials,
    )


def test_every_finding_is_weighed_from_every_view(graph: Graph) -> None:
    for movement, finding, view in graph.eyes:
        for side in ("left", "right", "both") if graph.findings[finding].sided else ("none",):
            seen = Observation(
                movement=movement,  # type: ignore[arg-type]
                view=view,  # type: ignore[arg-type]
                finding=finding,  # type: ignore[arg-type]
                side=side,  # type: ignore[arg-type]
                grade="marked",
            )
            answer = plan(Screen(observations=(seen,), client=HEALTHY), graph)
            where = f"{finding} in {movement} from the {view}, {side}"
            assert answer.warnings == (), where
            assert answer.causes, where
            assert answer.verdict in ("unsure", "train", "practise", "nothing_found"), where
    assert {f for _, f, _ in graph.eyes} == set(graph.findings)


@pytest.mark.parametrize("link", GRAPH.links.values(), ids=lambda link: link.id)
def test_every_link_can_explain_its_finding(link: LinkRecord, graph: Graph) -> None:
    for movement in link.strengths:
        screen = Screen(observations=(looked(graph, movement, link.finding),))
        evidence = read(screen, graph).evidence
        variable = graph.variable_of[link.cause]
        shares = [
            part.share
            for sighting, said in zip(
                evidence.sightings, infer(graph.network, evidence).sightings, strict=True
            )
            if said is not None
            for parent, part in zip(
                graph.network.events[sighting.event].parents, said.parents, strict=True
            )
            if parent.variable == variable
        ]
        assert shares, movement
        assert all(share > 0 for share in shares), movement


def test_every_cause_is_listed_for_some_finding(graph: Graph) -> None:
    listed = {
        cause.cause
        for movement, finding in sorted({(m, f) for m, f, _ in graph.eyes})
        for cause in plan(
            Screen(observations=(looked(graph, movement, finding),), target=movement),  # type: ignore[arg-type]
            graph,
        ).causes
    }

    assert set(graph.causes) - listed == set()


def test_every_change_moves_a_belief_wherever_it_can_be_tried(graph: Graph) -> None:
    looks = sorted({(m, f) for m, f, _ in graph.eyes})
    for change in graph.changes.values():
        for movement in change.movements:
            if movement not in graph.movements:
                continue
            moved = 0.0
            for finding in [f for m, f in looks if m == movement]:
                trial = Trial(change=change.id, result="gone")  # type: ignore[arg-type]
                found = read(Screen(observations=(looked(graph, movement, finding, trial),)), graph)
                said = infer(graph.network, found.evidence).sightings
                moved = max(
                    [moved, *(abs(t) for s in said if s for p in s.parents for t in p.trial_moved)]
                )
            assert moved > 0.2, f"{change.id} in {movement} moves {moved}"


def test_every_measure_moves_a_belief_or_says_why_not(graph: Graph) -> None:
    gates = {
        fact.measure
        for record in (*graph.alerts.values(), *graph.cautions.values())
        for facts in record.when
        for fact in facts
    }
    for record in graph.measures.values():
        ratios = []
        for method in record.methods:
            for value in (record.lowest, record.highest):
                told = Measurement(
                    measure=record.id,  # type: ignore[arg-type]
                    value=value,
                    unit=record.unit,
                    side="left" if record.sided else "none",
                    method=method.id,
                )
                found, notes = read_measurements(
                    Screen(observations=(), measurements=(told,)), graph
                )
                ratios += [m.ratio for m in found]
                silent = [code for code, _, _ in notes] == ["measure_silent"]
                assert found or silent or record.id in gates, f"{record.id} by {method.id}"
                assert not (found and record.silent), record.id
        assert not ratios or max(abs(math.log(r)) for r in ratios) > 0.5, record.id


# --- what holds the plan back --------------------------------------------------------------


def client_of(facts: tuple[Fact, ...]) -> tuple[Client, tuple[Measurement, ...]]:
    """Return somebody of whom every fact holds, and no more than that."""
    fields: dict[str, Any] = {"alerts": [], "conditions": [], "pain": []}
    measured = []
    pain: dict[str, Any] = {}
    for fact in facts:
        if fact.age_from is not None or fact.age_to is not None:
            fields["age_years"] = fact.age_from or fact.age_to
        if fact.alert is not None:
            fields["alerts"].append(fact.alert)
        if fact.condition is not None:
            weeks = fact.within_weeks
            cleared = bool(fact.cleared)
            one = Condition(id=fact.condition, region="knee", weeks_ago=weeks, cleared=cleared)
            fields["conditions"].append(one)
        if fact.measure is not None:
            value = fact.at_least if fact.at_least is not None else fact.at_most
            unit = GRAPH.measures[fact.measure].unit
            side: Side = "left" if GRAPH.measures[fact.measure].sided else "none"
            assert value is not None
            measured.append(Measurement(measure=fact.measure, value=value, unit=unit, side=side))
        for name in ("from", "kind", "region", "when"):
            told = getattr(fact, f"pain_{name}")
            if told is not None:
                pain["score" if name == "from" else name] = told
        if fact.pain_any:
            pain.setdefault("score", 1)
    if pain:
        fields["pain"] = [Pain(**{"region": "knee", "score": 1, **pain})]
    fields = {k: tuple(v) if isinstance(v, list) else v for k, v in fields.items()}
    return Client(**fields), tuple(measured)


@pytest.mark.parametrize("alert", sorted(GRAPH.alerts))
def test_every_alert_refers_and_plans_nothing(alert: str, graph: Graph) -> None:
    seen = (looked(graph, "squat", "knee_in"),)
    for facts in graph.alerts[alert].when:
        client, measured = client_of(facts)
        answer = plan(Screen(observations=seen, client=client, measurements=measured), graph)

        assert answer.verdict == "refer"
        assert answer.session is None
        assert (answer.causes, answer.left_out, answer.carry_over) == ((), (), ())
        said = [r for r in answer.referrals if r.id == alert]
        assert said
        assert said[0].text == graph.alerts[alert].say
        assert said[0].urgency == graph.alerts[alert].urgency


@pytest.mark.parametrize("caution", sorted(GRAPH.cautions))
def test_every_caution_is_said_and_closes_something_or_refers(caution: str, graph: Graph) -> None:
    record = graph.cautions[caution]
    for facts in record.when:
        client, measured = client_of(facts)
        screen = Screen(observations=(), client=client, measurements=measured)
        safety = judge(screen, "squat", graph)

        assert caution in [one.id for one in cautions_of(safety, graph)]
        # impact alone closes nothing as long as no drill of the pack has any
        idle = record.closes == Closes(impact=True) and not any(
            drill.impact for drill in graph.drills.values()
        )
        closing = caution in {closure.by for closure in safety.closed.values()}
        assert (closing or safety.refer) != idle
        assert safety.refer or not record.demands_clearance
        referred = {one.by for one in safety.referrals}
        assert (caution in referred) == (record.refers is not None)


def test_every_condition_meets_a_caution_whether_cleared_or_not(graph: Graph) -> None:
    conditions = {
        fact.condition
        for record in graph.cautions.values()
        for facts in record.when
        for fact in facts
        if fact.condition
    }
    assert len(conditions) == 13
    for condition in sorted(conditions):
        client = Client(alerts=(), conditions=(Condition(id=condition),), pain=())
        answer = plan(Screen(observations=(), client=client), graph)
        assert answer.cautions, condition


def test_what_demands_a_clearance_refers_until_it_is_given(graph: Graph) -> None:
    seen = (looked(graph, "squat", "knee_in"),)
    demanding = {
        fact.condition
        for record in graph.cautions.values()
        if record.demands_clearance
        for facts in record.when
        for fact in facts
        if fact.condition
    }
    assert demanding
    for condition in sorted(demanding):
        for cleared in (False, True):
            told = Condition(id=condition, region="shoulder", weeks_ago=200, cleared=cleared)
            client = Client(alerts=(), conditions=(told,), pain=())
            answer = plan(Screen(observations=seen, client=client), graph)
            assert (answer.verdict == "refer") == (not cleared), condition


# --- what is done --------------------------------------------------------------------------


def scenes(drill: DrillRecord, graph: Graph) -> Iterator[Screen]:
    """Yield screens that call for this drill: each cause it serves, known and seen."""
    rivals = [d.id for d in graph.drills.values() if d.id != drill.id and d.pattern is None]
    if drill.pattern:
        rivals += [d.id for d in graph.drills.values() if d.id != drill.id and _rival(d, drill)]
    targets = [drill.pattern] if drill.pattern else []
    for served in drill.trains:
        for link in graph.links.values():
            if link.cause != served.cause:
                continue
            for movement in link.strengths:
                sided = graph.causes[served.cause].sided
                known = Known(cause=served.cause, present=True, side="both" if sided else "none")
                trials = ()
                if drill.helper in graph.changes:
                    usable = movement in graph.changes[drill.helper].movements
                    trials = (
                        (Trial(change=drill.helper, result="gone", repeats=True),) if usable else ()
                    )  # type: ignore[arg-type]
                screen = Screen(
                    observations=(looked(graph, movement, link.finding, *trials),),
                    target=(targets or [movement])[0],  # type: ignore[arg-type]
                    minutes=30,
                    kit=tuple({one for way in drill.kit for one in way}),
                    client=msgspec.structs.replace(HEALTHY, level=drill.level),
                    known=(known,),
                    avoid=tuple(rivals[:256]),
                )
                yield screen
                # a new client who knows the drills is not held to few unknown ones
                yield msgspec.structs.replace(screen, recent=tuple(graph.drills)[:256])


def _rival(other: DrillRecord, drill: DrillRecord) -> bool:
    """Say if another drill is of the same pattern and is not the plain round that must follow."""
    return other.pattern == drill.pattern and (drill.helper is None or other.helper is not None)


@pytest.mark.parametrize("drill", GRAPH.drills.values(), ids=lambda drill: drill.id)
def test_every_drill_is_planned_for_somebody(drill: DrillRecord, graph: Graph) -> None:
    for screen in scenes(drill, graph):
        answer = plan(screen, graph)
        steps = answer.session.steps if answer.session else ()
        for step in steps:
            if step.drill == drill.id:
                neighbours = (step.easier, step.harder)
                rungs = tuple(rung.drill if rung else None for rung in neighbours)
                assert rungs == beside_on_its_ladder(drill.id, graph)
                return
    pytest.fail("no client is ever given it")


def beside_on_its_ladder(drill: str, graph: Graph) -> tuple[str | None, str | None]:
    for ladder in graph.ladders.values():
        if drill in ladder.rungs:
            n = ladder.rungs.index(drill)
            after = ladder.rungs[n + 1] if n + 1 < len(ladder.rungs) else None
            return (ladder.rungs[n - 1] if n else None), after
    return None, None


def test_every_finding_gives_a_plan_at_every_level_without_kit(graph: Graph) -> None:
    for movement, finding in sorted({(m, f) for m, f, _ in graph.eyes}):
        for level in ("new", "regular", "advanced"):
            screen = Screen(
                observations=(looked(graph, movement, finding),),
                target=movement,  # type: ignore[arg-type]
                minutes=12,
                client=msgspec.structs.replace(HEALTHY, level=level),
            )
            answer = plan(screen, graph)
            if answer.verdict != "nothing_found":
                where = f"{finding} in {movement}, {level}: {answer.verdict}"
                assert answer.session or not any(
                    graph.causes[c.cause].mode != "build" and c.weight > 0.05 for c in answer.causes
                ), where


def test_every_rule_shapes_some_session(graph: Graph) -> None:
    """The rules that steps name, and those that keep a session at their limit."""
    shaped = set()
    for seed in range(300):
        screen = random_screen(graph, seed)
        answer = plan(screen, graph)
        steps = answer.session.steps if answer.session else ()
        drills = [graph.drills[step.drill] for step in steps]
        shaped |= {b.rule for step in steps for b in step.because}
        new = [d.id for d in drills if d.id not in screen.recent]
        limits = {r.id: r.numbers for r in graph.rules.values()}
        if screen.client.level == "new" and len(new) == limits["new_drill_limit"]["most"]:
            shaped.add("new_drill_limit")
        if sum(d.aim == "range" for d in drills) == limits["range_limit"]["most"]:
            shaped.add("range_limit")
        if len(steps) in limits["step_limit"].values():
            shaped.add("step_limit")
        if answer.verdict == "practise" and steps:
            shaped.add("practice_only")
        if any(drills) and any(graph.causes[c.cause].mode == "build" for c in answer.causes):
            shaped.add("build_not_trained")
        if any(d.stretches for d in drills):
            shaped.add("static_hold_limit")
        if any(s.easier or s.harder for s in steps):
            shaped.add("one_rung")
        assert sorted(AIMS[s.aim] for s in steps) == [AIMS[s.aim] for s in steps], f"seed {seed}"

        shaped |= {name for kind, name in used_in(screen, answer, graph) if kind == "rules"}
    for seed in range(40):
        screen = random_screen(graph, seed)
        shaped |= {rule for _, rule in used_in_weeks(screen, graph)}
        shaped |= {rule for _, rule in used_in_reviews(screen, plan(screen, graph), graph)}
    assert set(graph.rules) - shaped == set()
