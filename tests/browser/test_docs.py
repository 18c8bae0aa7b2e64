"""The docs in a browser: the contract to read, the playground, the component, the catalogue."""

import os
import re
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from service.web.contract.operations import OPERATIONS
from tests.browser.conftest import AXE_TAGS, Visitor, keep

PICTURES = os.environ.get("MOVEWRIGHT_TEST_PICTURES")
"""A folder in which to keep a picture of every page."""

PAGES = [
    "/docs",
    "/docs/component",
    "/docs/try",
    "/problems",
    "/problems/not-the-schema",
    "/v1/catalog",
    "/v1/catalog/drills/clam",
    "/v1/catalog/findings/knee_in",
]
NOT_OURS = {"color-contrast", "heading-order", "region", "select-name"}
"""What axe-core finds in the markup of the library that shows the contract."""


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_accessible_and_loads_only_what_is_ours(
    visitor: Visitor, path: str, dark: bool
) -> None:
    visit = visitor(dark=dark)
    page = visit.open(path)
    page.wait_for_load_state("networkidle")
    visit.accessible()
    visit.finish()


@pytest.mark.parametrize("width", [320, 768, 1280])
@pytest.mark.parametrize("path", [*PAGES, "/docs/contract"])
def test_a_page_fits_its_screen(visitor: Visitor, path: str, width: int) -> None:
    visit = visitor(width=width)
    page = visit.open(path)
    page.wait_for_load_state("networkidle")
    wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    name = f"{path.strip('/').replace('/', '-')}-{width}"
    keep(page, Path(PICTURES) if PICTURES else None, name)
    assert wide <= 0


def test_the_contract_can_be_read_without_reaching_elsewhere(visitor: Visitor) -> None:
    visit = visitor()
    page = visit.open("/docs/contract")
    page.locator(".opblock").first.wait_for()
    read = page.locator(".opblock-summary-path").all_inner_texts()
    told = {path.replace("\u200b", "") for path in read}
    assert told == {operation.path for operation in OPERATIONS}
    visit.finish()


def test_the_playground_runs_an_example_and_says_where_a_fault_is(visitor: Visitor) -> None:
    visit = visitor()
    page = visit.open("/docs/try")
    page.get_by_role("button", name="Run it").click()
    page.get_by_text("Done.", exact=True).wait_for()
    assert page.locator("#trace details").count() > 4
    steps = page.evaluate(
        "document.querySelector('#plan').shadowRoot.querySelectorAll('img').length"
    )
    assert steps >= 2
    field = page.get_by_label("Screen, as JSON")
    field.fill('{"observations": [{"movement": "squat"}]}')
    field.press("Tab")
    page.get_by_role("button", name="Run it").focus()
    page.keyboard.press("Enter")
    fault = page.get_by_role("alert")
    expect(page.locator("#fault")).not_to_be_empty()
    assert "/observations/0" in (fault.text_content() or "")
    assert page.evaluate("document.activeElement.id") == "screen"
    field.fill("{")
    page.get_by_role("button", name="Run it").click()
    assert "not JSON" in (fault.text_content() or "")
    # the refused request is an error to the browser's console, and none of ours
    visit.faults[:] = [text for text in visit.faults if "422" not in text]
    visit.accessible()
    visit.finish()


POINTED = [
    ('{"observations": [], "minutes": "7"}', "/minutes", '"7"'),
    (
        """{"minutes": 9, "observations": [
            {"movement": "squat", "view": "front", "finding": "knee_in", "side": "left",
             "grade": "mild"},
            {"movement": "squat", "view": "front", "finding": "a, {b}", "side": "left",
             "grade": "mild"}]}""",
        "/observations/1/finding",
        '"a, {b}"',
    ),
]


@pytest.mark.parametrize(("screen", "pointer", "marked"), POINTED)
def test_a_fault_is_marked_where_it_stands(
    visitor: Visitor, screen: str, pointer: str, marked: str
) -> None:
    page = visitor().open("/docs/try")
    page.get_by_label("Screen, as JSON").fill(screen)
    page.keyboard.press("Control+Enter")
    expect(page.locator("#fault")).not_to_be_empty()
    assert pointer in (page.locator("#fault").text_content() or "")
    assert page.evaluate("document.activeElement.id") == "screen"
    assert page.evaluate("getSelection().toString()") == marked


def test_a_number_of_the_trace_leads_to_what_it_came_from(visitor: Visitor) -> None:
    visit = visitor()
    page = visit.open("/docs/try")
    page.get_by_role("button", name="Run it").click()
    page.get_by_text("Done.", exact=True).wait_for()
    page.locator("#trace summary", has_text="posterior").press("Enter")
    link = page.locator("#trace details[open] td a[href^='#']").first
    name = link.text_content()
    link.press("Enter")
    row = page.locator("tr:target")
    assert row.locator("td").first.text_content() == name
    assert row.is_visible()
    sources = page.locator("#trace td a[href^='/v1/catalog/sources/']")
    assert sources.count() > 10
    path = sources.first.get_attribute("href")
    visit.finish()
    assert visit.open(path or "").locator("h1").text_content()


def test_an_example_is_taken_and_run_by_keyboard_alone(visitor: Visitor) -> None:
    visit = visitor(width=390)
    page = visit.open("/docs/try")
    page.get_by_label("Example").focus()
    page.get_by_label("Example").select_option("calf_swelling")
    expect(page.get_by_label("Screen, as JSON")).to_have_value(re.compile("calf_swelling"))
    page.get_by_label("Screen, as JSON").press("Control+Enter")
    page.get_by_text("Done.", exact=True).wait_for()
    said = page.evaluate("document.querySelector('#plan').shadowRoot.textContent")
    assert said.startswith("See a licensed professional")
    visit.accessible()
    visit.finish()


@pytest.mark.parametrize("path", PAGES)
def test_every_link_of_a_page_leads_somewhere(visitor: Visitor, path: str) -> None:
    visit = visitor()
    page = visit.open(path)
    links = page.evaluate("[...document.querySelectorAll('a[href]')].map((link) => link.href)")
    ours = sorted({link.partition("#")[0] for link in links if link.startswith(visit.site)})
    assert len(ours) > 5
    asked = {link: visit.context.request.get(link).status for link in ours}
    assert set(asked.values()) == {200}, asked


def test_what_reads_the_contract_has_only_faults_of_its_own_that_are_known(
    visitor: Visitor,
) -> None:
    visit = visitor()
    page = visit.open("/docs/contract")
    page.locator(".opblock").first.wait_for()
    found = Axe().run(page, options={"runOnly": AXE_TAGS})
    assert {fault["id"] for fault in found.response["violations"]} <= NOT_OURS
    ours = Axe().run(page, context={"exclude": [["#contract"]]}, options={"runOnly": AXE_TAGS})
    assert ours.violations_count == 0, ours.generate_report()


def test_an_operation_can_be_run_from_the_contract(visitor: Visitor) -> None:
    visit = visitor()
    page = visit.open("/docs/contract")
    page.locator("#operations-read-listExamples .opblock-summary-control").click()
    page.get_by_role("button", name="Try it out").click()
    page.get_by_role("button", name="Execute").click()
    page.locator(".live-responses-table .microlight, .live-responses-table pre").first.wait_for()
    assert page.locator(".live-responses-table .response-col_status").last.inner_text()[:3] == "200"
    visit.finish()
