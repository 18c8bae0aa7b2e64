"""The touch page in a browser: a whole visit by touch, by keyboard, and without scripts."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import Visit, Visitor, keep
from tests.browser.kiosk_visit import PLAN, VISIT, Answered

PICTURES = os.environ.get("MOVEWRIGHT_TEST_PICTURES")
"""A folder in which to keep a picture of every page that a visit passes."""
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desk": (1280, 900)}
LEAST_PX = 48
_SMALL = """(least) =>
    [...document.querySelectorAll("label.tick, button, a, select, input[inputmode]")]
    .filter((one) => one.checkVisibility())
    .map((one) => [one.textContent.trim() || one.name, one.getBoundingClientRect()])
    .filter(([_, box]) => box.width < least || box.height < least)
    .map(([text]) => text)"""
_RING = """() => {
    const active = document.activeElement;
    const shown = active.closest(".tick") || active;
    return active !== document.body && getComputedStyle(shown).outlineStyle !== "none";
}"""


def title(page: Page) -> Locator:
    return page.get_by_role("heading", level=1)


def tick(page: Page, name: str, value: str) -> None:
    page.locator(f'label:has(input[name="{name}"][value="{value}"])').tap()


def answer_by_touch(page: Page, one: Answered) -> None:
    expect(title(page)).to_contain_text(one.title)
    for name, value in one.ticks:
        tick(page, name, value)
    for name, value in one.chosen:
        page.locator(f'[name="{name}"]').select_option(value)
    for name, value in one.written:
        page.locator(f'[name="{name}"]').fill(value)


def go_on(page: Page) -> None:
    page.locator("button[value=next]").tap()


def pages_by_touch(visit: Visit, path: str = "/kiosk") -> Iterator[Page]:
    """Each page of the visit once it is answered, and at last the plan."""
    page = visit.open(path)
    for one in VISIT:
        answer_by_touch(page, one)
        yield page
        go_on(page)
    expect(title(page)).to_have_text(PLAN)
    yield page


def decision(page: Page) -> str:
    """What names the decision at the end of the plan."""
    return page.locator("form > .small").inner_text()


@pytest.mark.parametrize(
    ("size", "dark"), [("phone", False), ("phone", True), ("tablet", True), ("desk", False)]
)
def test_a_visit_by_touch_is_accessible_at_every_step_and_leaves_nothing(
    visitor: Visitor, size: str, dark: bool
) -> None:
    width, height = SIZES[size]
    visit = visitor(width=width, height=height, dark=dark, has_touch=True)
    passed = 0
    for page in pages_by_touch(visit):
        visit.accessible()
        assert page.evaluate(_SMALL, LEAST_PX) == []
        keep(page, Path(PICTURES) if PICTURES else None, f"{size}-{'dark-' * dark}{passed:02}")
        passed += 1
    assert passed == len(VISIT) + 1
    expect(page.locator(".drills .picture svg").first).to_be_visible()
    assert page.url.endswith("/kiosk")
    visit.finish()


def reach(page: Page, selector: str) -> None:
    """Move the focus with the Tab key until it is on what is wanted."""
    for _ in range(80):
        page.keyboard.press("Tab")
        assert page.evaluate(_RING), "the focus cannot be seen"
        if page.evaluate("(wanted) => document.activeElement.matches(wanted)", selector):
            return
    raise AssertionError(f"the Tab key never came to {selector}")


def answer_by_keyboard(page: Page, one: Answered) -> None:
    expect(title(page)).to_contain_text(one.title)
    entries = [
        *((page.locator(f'[name="{n}"][value="{v}"]'), n, v) for n, v in one.ticks),
        *((page.locator(f'[name="{n}"]'), n, v) for n, v in (*one.chosen, *one.written)),
    ]
    order = "(field) => [...document.querySelectorAll('input, select')].indexOf(field)"
    for field, name, value in sorted(entries, key=lambda entry: entry[0].evaluate(order)):
        kind = field.evaluate("(field) => field.type")
        if kind == "checkbox":
            reach(page, f'[name="{name}"][value="{value}"]')
            page.keyboard.press("Space")
            continue
        reach(page, f'[name="{name}"]')
        if kind == "radio":
            while not page.evaluate("(wanted) => document.activeElement.value === wanted", value):
                page.keyboard.press("ArrowDown")
            page.keyboard.press("Space")
        elif kind == "select-one":
            page.keyboard.press("Home")
            while field.input_value() != value:
                page.keyboard.press("ArrowDown")
        else:
            page.keyboard.press("ControlOrMeta+a")
            page.keyboard.type(value)
    reach(page, "button[value=next]")
    page.keyboard.press("Enter")


def test_a_visit_by_keyboard_alone_comes_to_the_same_plan(visitor: Visitor) -> None:
    visit = visitor(width=820, height=1180)
    page = visit.open("/kiosk")
    for one in VISIT:
        answer_by_keyboard(page, one)
    expect(title(page)).to_have_text(PLAN)
    by_keyboard = decision(page)
    visit.finish()
    touched = visitor(width=820, height=1180, has_touch=True)
    for last in pages_by_touch(touched):
        page = last
    assert decision(page) == by_keyboard


def test_a_visit_without_scripts_comes_to_the_plan(visitor: Visitor) -> None:
    visit = visitor(width=820, height=1180, scripts=False, has_touch=True)
    for last in pages_by_touch(visit):
        page = last
    expect(page.locator(".drills > li").first).to_be_visible()
    expect(page.locator(".print")).to_be_hidden()
    assert page.url.endswith("/kiosk")
    assert visit.context.cookies() == []
    visit.finish()


@pytest.mark.parametrize("scripts", [True, False], ids=["with_scripts", "without"])
def test_nothing_scrolls_sideways_on_the_narrowest_page(visitor: Visitor, scripts: bool) -> None:
    """320 pixels are also what a window of 1280 shows at 400 per cent."""
    visit = visitor(width=320, height=256, scripts=scripts, has_touch=True)
    for page in pages_by_touch(visit):
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, title(page)


def test_going_back_to_the_first_page_keeps_everything(visitor: Visitor) -> None:
    visit = visitor(has_touch=True)
    for last in pages_by_touch(visit):
        page = last
    before = decision(page)
    page.locator("button.quiet", has_text="Back").tap()
    for one in reversed(VISIT):
        expect(title(page)).to_contain_text(one.title)
        for name, value in one.ticks:
            expect(page.locator(f'[name="{name}"][value="{value}"]')).to_be_checked()
        for name, value in (*one.chosen, *one.written):
            expect(page.locator(f'[name="{name}"]')).to_have_value(value)
        if one is not VISIT[0]:
            page.locator("button[value=back]").tap()
    for one in VISIT:
        expect(title(page)).to_contain_text(one.title)
        go_on(page)
    expect(title(page)).to_have_text(PLAN)
    assert decision(page) == before


@pytest.mark.parametrize("scripts", [True, False], ids=["with_scripts", "without"])
def test_what_is_wrong_is_said_beside_the_field_and_the_rest_is_kept(
    visitor: Visitor, scripts: bool
) -> None:
    visit = visitor(width=390, height=844, scripts=scripts, has_touch=True)
    page = visit.open("/kiosk")
    go_on(page)
    group = page.locator("fieldset.group")
    expect(group.locator(".wrong")).to_have_text("Tick at least one of these.")
    for one in VISIT[:5]:
        answer_by_touch(page, one)
        if one is VISIT[4]:
            page.locator('[name="condition.recent_surgery.weeks"]').fill("a year")
        go_on(page)
    weeks = page.get_by_label("how many weeks ago")
    expect(weeks).to_have_value("a year")
    expect(weeks).to_have_attribute("aria-invalid", "true")
    said = weeks.get_attribute("aria-describedby") or ""
    assert "wrong.condition.recent_surgery.weeks" in said.split()
    expect(page.locator(f'[id="{said.split()[-1]}"]')).to_have_text(
        "Write a whole number from 0 to 2600."
    )
    expect(page.locator('[name="condition.recent_surgery.region"]')).to_have_value("knee")
    if scripts:
        expect(weeks).to_be_focused()
        visit.accessible()
        visit.finish()


def test_an_emergency_ends_the_visit_at_once_and_back_keeps_what_was_ticked(
    visitor: Visitor,
) -> None:
    visit = visitor(width=390, height=844, has_touch=True)
    page = visit.open("/kiosk")
    tick(page, "alerts", "chest_pain_on_effort")
    go_on(page)
    expect(title(page)).to_have_text("Stop here and see a professional")
    expect(page.locator("main")).to_contain_text("Chest pain or pressure needs medical help now")
    expect(page.locator(".drills")).to_have_count(0)
    visit.accessible()
    page.locator("button", has_text="Back").tap()
    expect(page.locator('[value="chest_pain_on_effort"]')).to_be_checked()
    visit.finish()


def test_none_of_these_and_something_else_cannot_stand_together(visitor: Visitor) -> None:
    page = visitor(has_touch=True).open("/kiosk")
    tick(page, "alerts", "fainting")
    tick(page, "alerts", "none")
    expect(page.locator('[value="fainting"]')).not_to_be_checked()
    tick(page, "alerts", "night_pain")
    expect(page.locator('[value="none"]')).not_to_be_checked()


def test_the_language_changes_on_any_page_and_keeps_what_was_entered(visitor: Visitor) -> None:
    visit = visitor(width=390, height=844, has_touch=True)
    page = visit.open("/kiosk")
    tick(page, "alerts", "none")
    page.get_by_role("button", name="Deutsch").tap()
    expect(page.locator("html")).to_have_attribute("lang", "de")
    expect(page.locator('[value="none"]')).to_be_checked()
    visit.accessible()
    page.get_by_role("button", name="English").tap()
    go_on(page)
    expect(title(page)).to_have_text("Does anything hurt today?")
    visit.finish()


def test_an_idle_visit_is_warned_about_and_then_cleared(visitor: Visitor) -> None:
    visit = visitor(has_touch=True)
    visit.page.clock.install()
    page = visit.open("/kiosk")
    page.clock.run_for(3_600_000)
    expect(page.locator("dialog")).to_be_hidden()
    answer_by_touch(page, VISIT[0])
    go_on(page)
    expect(title(page)).to_contain_text(VISIT[1].title)
    tick(page, "pain", "knee")
    page.clock.run_for(89_000)
    expect(page.locator("dialog")).to_be_hidden()
    page.clock.run_for(2_000)
    expect(page.get_by_role("dialog")).to_be_visible()
    visit.accessible()
    page.get_by_role("button", name="Go on").tap()
    expect(page.locator("dialog")).to_be_hidden()
    expect(page.locator('[value="knee"]')).to_be_checked()
    page.clock.run_for(91_000)
    expect(page.get_by_role("dialog")).to_be_visible()
    page.clock.run_for(31_000)
    expect(title(page)).to_contain_text(VISIT[0].title)
    expect(page.locator('[name="draft"]')).to_have_value('{"language":"en","answers":{}}')
    visit.finish()


def test_a_busy_service_is_said_and_the_form_stays(visitor: Visitor) -> None:
    visit = visitor(has_touch=True)
    page = visit.open("/kiosk")
    tick(page, "alerts", "none")
    page.route("**/kiosk", lambda route: route.fulfill(status=503, body="{}"))
    go_on(page)
    expect(page.get_by_role("status")).to_contain_text("The service is busy")
    expect(page.locator('[value="none"]')).to_be_checked()
    page.unroute("**/kiosk")
    go_on(page)
    expect(title(page)).to_contain_text(VISIT[1].title)


def test_forced_colours_still_tell_what_is_chosen(visitor: Visitor) -> None:
    page = visitor(has_touch=True, forced_colors="active").open("/kiosk")
    box = page.locator('[value="none"]')
    tick(page, "alerts", "none")
    assert box.evaluate("(one) => getComputedStyle(one).appearance") == "auto"
    row = page.locator("label:has(:checked)")
    assert row.evaluate("(one) => getComputedStyle(one).outlineStyle") == "solid"


def test_nothing_moves_where_less_motion_is_asked_for(visitor: Visitor) -> None:
    seconds = "(one) => getComputedStyle(one).transitionDuration"
    still = visitor(reduced_motion="reduce").open("/kiosk").locator("button").first
    assert still.evaluate(seconds) == "0s"
    moving = visitor(reduced_motion="no-preference").open("/kiosk").locator("button").first
    assert moving.evaluate(seconds) != "0s"


def test_on_paper_the_plan_stands_without_its_buttons(visitor: Visitor) -> None:
    visit = visitor(has_touch=True)
    for last in pages_by_touch(visit):
        page = last
    page.emulate_media(media="print")
    expect(page.locator("button:visible")).to_have_count(0)
    expect(page.locator(".drills .picture svg").first).to_be_visible()


@pytest.mark.parametrize(("host", "is_allowed"), [("localhost", True), ("127.0.0.1", False)])
def test_only_an_allowed_site_may_frame_the_page(
    visitor: Visitor, site: str, framing_port: int, host: str, is_allowed: bool
) -> None:
    page = visitor(has_touch=True).page
    page.goto(f"http://{host}:{framing_port}/?{site}/embed")
    framed = page.frame_locator("iframe")
    if is_allowed:
        framed.locator('label:has([value="none"])').tap()
        framed.locator("button[value=next]").tap()
        expect(framed.locator("h1")).to_contain_text(VISIT[1].title)
    else:
        # the browser puts a page of its own in the frame, which says that it refused
        expect(framed.locator("#main-frame-error")).to_have_count(1)
        expect(framed.locator("form")).to_have_count(0)


def test_axe_finds_what_is_planted(visitor: Visitor) -> None:
    """The check of every page above can fail: too small a target, too weak a contrast, no label."""
    visit = visitor()
    page = visit.open("/kiosk")
    page.evaluate("""() => {
        const form = document.querySelector("form");
        form.append(Object.assign(document.createElement("input"), {type: "text"}));
        form.append(Object.assign(document.createElement("p"), {textContent: "faint"}));
        form.lastChild.style.color = "#e8e0d8";
        for (const text of "ab") {
            form.append(Object.assign(document.createElement("button"), {textContent: text}));
            form.lastChild.style.cssText = "all: unset; font-size: 8px";
        }
    }""")
    with pytest.raises(AssertionError) as found:
        visit.accessible()
    for rule in ("color-contrast", "label", "target-size"):
        assert rule in str(found.value), rule
