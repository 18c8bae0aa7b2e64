"""The touch page by plain forms: what it asks and when, what it keeps, and what it plans."""

import re
from collections.abc import Iterator
from random import Random
from typing import Any

import msgspec
import pytest
from litestar.testing import TestClient

from service.engine.plan import plan
from service.model.answer import Answer
from service.model.graph import Graph
from service.model.screen import Condition, Observation, Pain, Screen, Trial
from service.web.app import create_app
from service.web.settings import Settings
from tests.web.forms import Form, Visitor

Client = TestClient[Any]
HOSTILE = "\"'><script>alert(1)</script>"
FRAMED = "https://gym.example"
MOST_PAGES = 20


class Planned:
    """An application of which every screen that it decides on is kept."""

    def __init__(self, graph: Graph) -> None:
        self.screens: list[Screen] = []
        self.answers: list[Answer] = []
        settings = Settings(allow_frames=(FRAMED,))
        self.client: Client = TestClient(create_app(graph, settings, self._decide))

    def _decide(self, screen: Screen, graph: Graph) -> Answer:
        self.screens.append(screen)
        self.answers.append(plan(screen, graph))
        return self.answers[-1]


@pytest.fixture(scope="module")
def planned(graph: Graph) -> Iterator[Planned]:
    made = Planned(graph)
    with made.client:
        yield made


@pytest.fixture
def visitor(planned: Planned) -> Visitor:
    planned.screens.clear()
    planned.answers.clear()
    return Visitor(planned.client)


def drawn(draw: Random, name: str, offered: list[str], is_single: bool) -> str | list[str]:
    """An answer that makes sense; safety is mostly clear, or no visit would come to its end."""
    some = [one for one in offered if one not in ("", "none")]
    if is_single:
        mild = [one for one in some if one in ("0", "1", "2", "yes", "dull", "during")]
        return draw.choice(mild or some)
    least = 0 if "none" in offered else 1
    most = 0 if name == "alerts" and draw.random() < 0.9 else draw.randint(least, 3)
    chosen = draw.sample(some, min(most, len(some)))
    return chosen or (["none"] if "none" in offered else [])


def pass_safety(visitor: Visitor) -> None:
    visitor.go(alerts="none")
    visitor.go(pain="none")
    visitor.go(conditions="none")
    visitor.go(age="31")


def watch_a_knee(visitor: Visitor) -> None:
    """A squat seen from the front, up to what was tried."""
    visitor.go(movement="squat")
    visitor.go(stood=["front", "side"])
    visitor.go(left_path="lowering")
    visitor.go(seen=["knee_in"])
    visitor.go(seen__knee_in__side="left", seen__knee_in__grade="marked")
    visitor.go(not_there=["heel_leaves_floor"])


def finish(visitor: Visitor) -> None:
    visitor.go(tried=["heels_raised"])
    visitor.go(tried__heels_raised__knee_in="gone")
    visitor.go(kit=["mini_band"])
    visitor.go(minutes="12", level="regular")


def test_a_whole_visit_ends_in_the_plan_for_what_was_entered(
    planned: Planned, visitor: Visitor
) -> None:
    pass_safety(visitor)
    watch_a_knee(visitor)
    finish(visitor)
    assert visitor.answer.status_code == 200
    (screen,) = planned.screens
    assert screen.observations == (
        Observation(
            movement="squat",
            view="front",
            finding="knee_in",
            grade="marked",
            side="left",
            phase="lowering",
            trials=(Trial(change="heels_raised", result="gone"),),
        ),
        Observation(
            movement="squat",
            view="side",
            finding="heel_leaves_floor",
            grade="absent",
            side="both",
        ),
    )
    assert screen.client.alerts == ()
    assert screen.client.pain == ()
    assert screen.client.conditions == ()
    assert screen.client.level == "regular"
    assert screen.client.age_years == 31
    assert (screen.minutes, screen.kit, screen.target) == (12, ("mini_band",), "squat")
    assert_plan_is_told(visitor.answer.text, visitor.form, planned.answers[0])


def assert_plan_is_told(html: str, form: Form, answer: Answer) -> None:
    """Every step of the session stands on the page in its order, with all that it says."""
    assert answer.session is not None and len(answer.session.steps) >= 2
    words = " ".join(form.text.split())
    at = 0
    for step in answer.session.steps:
        at = words.index(step.name, at)
        for told in (*step.cues, step.good_looks_like, step.stop_when):
            assert told in words
    assert answer.causes[0].because
    for caution in answer.cautions:
        assert words.index(caution.text) < words.index(answer.session.steps[0].name)
    assert answer.next_checks[0].text in words
    for path in re.findall(r'<img src="([^"]*)"', html):
        assert path.startswith("/v1/catalog/drills/")
    assert html.count("<svg") + html.count("<img") == len(answer.session.steps)


def test_back_keeps_everything(visitor: Visitor) -> None:
    pass_safety(visitor)
    watch_a_knee(visitor)
    visitor.enter(tried=["heels_raised", "stance_wider"])
    steps = [visitor.at]
    held = {}
    while ("go", "back") in visitor.form.buttons:
        visitor.press(value="back")
        steps.append(visitor.at)
        held[visitor.at] = {k: v for k, v in visitor.form.given.items() if k != "draft"}
    assert steps == [
        "tried", "not_there", "seen_more", "seen", "left_path", "stood", "movement", "age",
        "conditions", "pain", "alerts",
    ]  # fmt: skip
    assert held["seen_more"]["seen.knee_in.side"] == ["left"]
    assert held["stood"]["stood"] == ["front", "side"]
    assert held["age"]["age"] == ["31"]
    for _ in steps[1:]:
        visitor.press()
    assert visitor.at == "tried"
    assert sorted(visitor.form.given["tried"]) == ["heels_raised", "stance_wider"]


def test_sides_and_changes_are_asked_only_for_what_was_seen(visitor: Visitor) -> None:
    pass_safety(visitor)
    visitor.go(movement="squat")
    visitor.go(stood=["front"])
    visitor.go(left_path="stayed")
    assert visitor.at == "not_there"
    visitor.press()
    assert visitor.at == "kit"


def test_a_side_is_not_asked_of_what_has_none(visitor: Visitor, graph: Graph) -> None:
    pass_safety(visitor)
    visitor.go(movement="hinge")
    visitor.go(stood=["side"])
    while visitor.at != "seen":
        visitor.go(left_path="all")
    assert not graph.findings["lumbar_round"].sided
    visitor.go(seen=["lumbar_round"])
    assert "seen.lumbar_round.grade" in visitor.form.offered
    assert "seen.lumbar_round.side" not in visitor.form.offered


def test_only_what_can_be_seen_from_there_is_offered(visitor: Visitor, graph: Graph) -> None:
    pass_safety(visitor)
    visitor.go(movement="squat")
    visitor.go(stood=["back"])
    visitor.go(left_path="bottom")
    offered = [one for one in visitor.form.offered["seen"] if one != "none"]
    assert sorted(offered) == sorted(
        finding for movement, finding, view in graph.eyes if (movement, view) == ("squat", "back")
    )


def test_every_alert_is_asked_by_urgency_in_its_own_sentence(
    visitor: Visitor, graph: Graph
) -> None:
    words = " ".join(visitor.form.text.split())
    offered = [one for one in visitor.form.offered["alerts"] if one != "none"]
    order = ["emergency", "same_day", "soon", "before_training"]
    ranks = [order.index(graph.alerts[one].urgency) for one in offered]
    assert ranks == sorted(ranks)
    for one in offered:
        assert graph.alerts[one].ask in words
    assert len(offered) == len(set(offered)) > 10


def test_an_emergency_ends_the_visit_at_once_and_nothing_is_planned(
    planned: Planned, visitor: Visitor, graph: Graph
) -> None:
    visitor.go(alerts=["numb_saddle"])
    assert visitor.at == ""
    assert graph.alerts["numb_saddle"].say in visitor.form.text
    assert ("go", "next") not in visitor.form.buttons
    assert planned.screens == []
    visitor.press(value="stay")
    assert visitor.at == "alerts"
    assert visitor.form.given["alerts"] == ["numb_saddle"]


def tell_of_surgery(visitor: Visitor, *, alerts: list[str], weeks: str, cleared: str) -> None:
    visitor.go(alerts=alerts)
    visitor.go(pain="none")
    visitor.go(conditions=["recent_surgery"])
    assert visitor.at == "conditions_more"
    where = {"region": "knee", "side": "left", "weeks": weeks, "cleared": cleared}
    visitor.go(**{f"condition__recent_surgery__{name}": told for name, told in where.items()})


@pytest.mark.parametrize(("weeks", "urgency"), [("4", "emergency"), ("200", "same_day")])
def test_what_depends_on_more_waits_for_the_rest_of_it(
    visitor: Visitor, graph: Graph, weeks: str, urgency: str
) -> None:
    tell_of_surgery(visitor, alerts=["calf_swelling"], weeks=weeks, cleared="yes")
    if urgency != "emergency":
        visitor.go(age="40")
    assert visitor.at == ""
    said = graph.alerts["calf_after_surgery"].say in visitor.form.text
    assert said == (urgency == "emergency")


def test_what_closes_training_today_is_told_before_any_movement_is_asked(
    planned: Planned, visitor: Visitor, graph: Graph
) -> None:
    tell_of_surgery(visitor, alerts=["none"], weeks="4", cleared="no")
    visitor.press()
    assert visitor.at == ""
    assert graph.cautions["recent_surgery"].say in visitor.form.text
    assert planned.screens == []


def test_pain_and_conditions_reach_the_screen(planned: Planned, visitor: Visitor) -> None:
    visitor.go(alerts="none")
    visitor.go(pain=["knee"])
    visitor.go(pain__knee__score="3", pain__knee__side="right", pain__knee__kind="dull")
    visitor.go(conditions=["arthritis"])
    visitor.go(condition__arthritis__region="knee", condition__arthritis__side="right")
    visitor.press()
    watch_a_knee(visitor)
    finish(visitor)
    client = planned.screens[0].client
    assert client.pain == (Pain(region="knee", score=3, side="right", kind="dull"),)
    assert client.conditions == (Condition(id="arthritis", region="knee", side="right"),)
    assert client.age_years is None
    answer = planned.answers[0]
    assert answer.cautions
    assert_plan_is_told(visitor.answer.text, visitor.form, answer)


@pytest.mark.parametrize("seed", range(16))
def test_any_visit_ends_in_a_plan_or_in_referrals(
    planned: Planned, visitor: Visitor, seed: int
) -> None:
    """Answers drawn from what the pages offer; the seed is the name of the case."""
    draw = Random(seed)
    for _ in range(MOST_PAGES):
        if not visitor.at:
            break
        for name, offered in visitor.form.offered.items():
            visitor.enter(**{name: drawn(draw, name, offered, name in visitor.form.single)})
        for name in visitor.form.given:
            if name in ("age", "minutes") or name.endswith(".weeks"):
                visitor.enter(**{name: str(draw.randint(5, 60))})
        before = visitor.at
        visitor.press()
        assert visitor.answer.status_code == 200
        assert visitor.at != before, (before, visitor.form.given)
    assert visitor.at == ""
    if planned.screens:
        assert planned.answers[0].summary in " ".join(visitor.form.text.split())
    else:
        assert "See a" in visitor.form.title or "see a" in visitor.form.title


@pytest.mark.parametrize(
    ("chosen", "fields"),
    [
        ("nothing", []),
        ("none and more", ["none", "fainting"]),
    ],
)
def test_a_list_that_makes_no_sense_is_asked_again(
    visitor: Visitor, chosen: str, fields: list[str]
) -> None:
    visitor.enter(alerts=fields)
    visitor.press()
    assert visitor.at == "alerts", chosen
    assert_told_beside(visitor.form, "alerts")
    assert visitor.form.given.get("alerts", []) == sorted(fields, key=lambda one: one == "none")


def test_more_changes_than_a_screen_takes_are_said_and_kept(visitor: Visitor) -> None:
    pass_safety(visitor)
    watch_a_knee(visitor)
    seven = [one for one in visitor.form.offered["tried"] if one != "none"][:7]
    visitor.go(tried=seven)
    assert visitor.at == "tried"
    assert_told_beside(visitor.form, "tried")
    assert visitor.form.given["tried"] == seven
    visitor.go(tried=seven[1:])
    assert visitor.at == "tried_more"


@pytest.mark.parametrize("written", ["", "0", "121", "ten", "-5", "1e1", "\uff11\uff10", HOSTILE])
def test_a_number_that_is_none_is_kept_and_said_to_be_wrong(visitor: Visitor, written: str) -> None:
    pass_safety(visitor)
    watch_a_knee(visitor)
    visitor.go(tried="none")
    visitor.press()
    visitor.go(minutes=written, level="advanced")
    assert visitor.at == "today"
    assert_told_beside(visitor.form, "minutes")
    assert visitor.form.given["minutes"] == [written]
    assert visitor.form.given["level"] == ["advanced"]
    assert "<script>alert" not in visitor.answer.text
    visitor.go(minutes=" 15 ")
    assert visitor.at == ""


def assert_told_beside(form: Form, name: str) -> None:
    """A sentence beside the field says what is wrong, and the field refers to it."""
    refers = [one for one in form.described[name].split() if one.startswith("wrong")]
    assert len(refers) == 1
    assert refers[0] in form.ids


def test_answers_that_no_page_could_have_given_are_dropped(
    planned: Planned, visitor: Visitor
) -> None:
    pass_safety(visitor)
    draft = msgspec.json.decode(visitor.form.given["draft"][0])
    draft["answers"] |= {
        "movement": ["walk"],
        "seen": ["knee_in", HOSTILE],
        "kit": ["spaceship"],
        HOSTILE[:20]: ["x"],
    }
    visitor.send({"draft": [msgspec.json.encode(draft).decode()], "at": ["today"], "go": ["next"]})
    assert visitor.at == "movement"
    assert visitor.form.given.get("movement") is None
    assert "spaceship" not in visitor.answer.text
    assert HOSTILE not in visitor.answer.text
    assert planned.screens == []


@pytest.mark.parametrize("path", ["/kiosk", "/embed"])
def test_the_page_loads_nothing_from_elsewhere_and_is_not_kept(planned: Planned, path: str) -> None:
    visitor = Visitor(planned.client, path)
    for _ in range(2):
        headers = visitor.answer.headers
        assert headers["cache-control"] == "no-store"
        assert "set-cookie" not in headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy
        allowed = FRAMED if path == "/embed" else "'none'"
        assert f"frame-ancestors {allowed}" in policy
        assert ("x-frame-options" in headers) == (path == "/kiosk")
        for link in re.findall(r'(?:href|src|action)="([^"]*)"', visitor.answer.text):
            assert link.startswith("/") and not link.startswith("//")
        visitor.press()


def test_the_page_speaks_german(planned: Planned, graph: Graph) -> None:
    visitor = Visitor(planned.client, **{"Accept-Language": "de-AT, en;q=0.5"})
    assert visitor.answer.headers["content-language"] == "de"
    asked = graph.texts["de"]["alerts.numb_saddle.ask"]
    assert asked in visitor.form.text
    visitor.press("language", "en")
    assert visitor.answer.headers["content-language"] == "en"
    assert graph.alerts["numb_saddle"].ask in visitor.form.text
    visitor.go(alerts="none")
    assert visitor.answer.headers["content-language"] == "en"
