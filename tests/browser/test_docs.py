"""The docs in a browser: the contract to read, the playground, the component, the catalogue."""

import pytest

from tests.browser.conftest import Visitor

PAGES = [
    "/docs/component",
    "/docs/try",
    "/problems",
    "/problems/not-the-schema",
    "/v1/catalog",
    "/v1/catalog/drills/clam",
    "/v1/catalog/findings/knee_in",
]


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


@pytest.mark.parametrize("path", PAGES)
def test_a_page_fits_a_narrow_screen(visitor: Visitor, path: str) -> None:
    visit = visitor(width=320)
    page = visit.open(path)
    page.wait_for_load_state("networkidle")
    wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0


def test_the_contract_can_be_read_without_reaching_elsewhere(visitor: Visitor) -> None:
    visit = visitor()
    page = visit.open("/docs")
    page.get_by_text("Plan for one screen").or_(page.get_by_text("/v1/plan")).first.wait_for()
    assert page.locator(".opblock").count() > 20
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
    page.wait_for_function("document.querySelector('#fault').textContent !== ''")
    assert "/observations/0" in (fault.text_content() or "")
    assert page.evaluate("document.activeElement.id") == "screen"
    field.fill("{")
    page.get_by_role("button", name="Run it").click()
    assert "not JSON" in (fault.text_content() or "")
    # the refused request is an error to the browser's console, and none of ours
    visit.faults[:] = [text for text in visit.faults if "422" not in text]
    visit.accessible()
    visit.finish()


def test_the_component_shows_a_plan_with_its_pictures(visitor: Visitor) -> None:
    visit = visitor()
    page = visit.open("/docs/component")
    page.wait_for_function("document.querySelector('movewright-plan').shadowRoot")
    page.wait_for_load_state("networkidle")
    shown = page.evaluate(
        """() => { const root = document.querySelector('movewright-plan').shadowRoot;
        const images = [...root.querySelectorAll('img')];
        return [root.textContent, images.map((image) => image.naturalWidth)]; }"""
    )
    assert "Squat at a steady count" in shown[0]
    assert len(shown[1]) >= 3 and all(shown[1])
    visit.finish()
