"""The component in a browser: what it shows of a plan, in whose words, and what it never does."""

import json
from typing import Any

import pytest
from playwright.sync_api import Page

from service.web.shipped import examples
from tests.browser.conftest import Visit, Visitor
from tests.browser.test_card import sent

PAGE = "/docs/component"
HOSTILE = "</p><img src=x onerror='window.__ran=1'><script>window.__ran=1</script>"


def answer(site: str, name: str, **options: Any) -> dict[str, Any]:
    body = json.loads(examples()[name]) | {"options": options}
    read: dict[str, Any] = json.loads(sent(site, json.dumps(body).encode(), "application/json"))
    return read


def opened(visit: Visit) -> Page:
    page = visit.open(PAGE)
    page.locator("movewright-plan .steps").wait_for()
    return page


def show(page: Page, plan: object) -> None:
    page.evaluate("plan => { document.querySelector('movewright-plan').plan = plan }", plan)
    page.wait_for_load_state("networkidle")


def text(page: Page) -> str:
    said: str = page.evaluate("document.querySelector('movewright-plan').shadowRoot.textContent")
    return said


def pictures(page: Page) -> list[list[Any]]:
    found: list[list[Any]] = page.evaluate(
        """[...document.querySelector('movewright-plan').shadowRoot.querySelectorAll('img')]
        .map((image) => [new URL(image.src).pathname, image.alt, image.naturalWidth])"""
    )
    return found


def test_the_page_shows_a_plan_with_a_picture_of_every_step(visitor: Visitor, site: str) -> None:
    visit = visitor()
    page = opened(visit)
    page.wait_for_load_state("networkidle")
    steps = answer(site, "left_knee_nothing_helps")["session"]["steps"]
    said = text(page)
    places = [said.index(step["name"]) for step in steps]
    assert places == sorted(places)
    for step in steps:
        assert step["good_looks_like"] in said and step["stop_when"] in said
        assert all(cue in said for cue in step["cues"])
    shown = pictures(page)
    assert [path for path, _, _ in shown] == [
        f"/v1/catalog/drills/{step['drill']}/picture.svg" for step in steps
    ]
    assert all(alt and width for _, alt, width in shown)
    visit.accessible()
    visit.finish()


@pytest.mark.parametrize("name", sorted(examples()))
def test_what_limits_a_plan_stands_before_it(visitor: Visitor, site: str, name: str) -> None:
    visit = visitor(width=390)
    page = opened(visit)
    plan = answer(site, name)
    show(page, plan)
    said = text(page)
    start = said.index(plan["summary"])
    for limit in (*plan["referrals"], *plan["cautions"]):
        assert said.index(limit["text"]) < start
    for look in plan["look_at"]:
        assert look["text"] in said
    visit.accessible()
    visit.finish()


def test_its_own_words_follow_the_language_around_it(visitor: Visitor, site: str) -> None:
    visit = visitor()
    page = opened(visit)
    assert "See whether it worked" in text(page)
    page.evaluate("document.querySelector('movewright-plan').lang = 'de-AT'")
    show(page, answer(site, "left_knee_nothing_helps", language="de"))
    said = text(page)
    assert "Sehen, ob es gewirkt hat" in said and "Wiederholungen" in said
    assert "See whether" not in said and " sets " not in said
    visit.finish()


def test_what_stands_in_an_answer_is_text_and_nothing_else(visitor: Visitor, site: str) -> None:
    visit = visitor()
    page = opened(visit)
    plan = answer(site, "left_knee_nothing_helps")
    plan["summary"] = HOSTILE
    plan["session"]["steps"][0] |= {"name": HOSTILE, "cues": [HOSTILE], "drill": "../../about"}
    show(page, plan)
    assert text(page).count(HOSTILE) >= 3
    assert page.evaluate("window.__ran") is None
    # a drill without a picture shows none, and cannot lead to another address
    assert len(pictures(page)) == len(plan["session"]["steps"]) - 1
    visit.faults[:] = [fault for fault in visit.faults if "404" not in fault]
    visit.finish()


def test_a_plan_can_be_taken_away_and_pictures_left_out(visitor: Visitor, site: str) -> None:
    visit = visitor()
    page = opened(visit)
    page.evaluate("document.querySelector('movewright-plan').setAttribute('pictures', '')")
    assert pictures(page) == [] and "Squat at a steady count" in text(page)
    show(page, None)
    assert text(page) == ""
    visit.finish()


def test_it_fetches_what_src_names_and_says_when_it_cannot(visitor: Visitor, site: str) -> None:
    visit = visitor()
    page = opened(visit)
    plan = answer(site, "calf_swelling")
    page.route("**/today.json", lambda route: route.fulfill(json=plan))
    page.evaluate("document.querySelector('movewright-plan').setAttribute('src', '/today.json')")
    page.get_by_text(plan["summary"]).wait_for()
    status = page.evaluate(
        """() => new Promise((resolve) => {
        const element = document.querySelector('movewright-plan');
        element.addEventListener('movewright-fault', (event) => resolve(event.detail.message));
        element.setAttribute('src', '/problems/no-such'); })"""
    )
    assert status == "status 404"
    assert plan["summary"] in text(page)
