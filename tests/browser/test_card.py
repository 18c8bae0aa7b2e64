"""The card in a browser and on paper: one page for five steps, readable, loading nothing."""

import io
import json
import os
import urllib.request
from pathlib import Path

import pytest
from pypdf import PdfReader

from service.web.shipped import examples
from tests.browser.conftest import Visitor

PICTURES = os.environ.get("MOVEWRIGHT_TEST_PICTURES")
"""A folder in which to keep every card that is printed."""
PAPERS = {"a4": "A4", "letter": "Letter"}
NAMES = ["left_knee_nothing_helps", "sore_shoulder_still_squats", "arms_up_ribs_flare"]


def five_steps(site: str, name: str, language: str) -> bytes:
    """Return a screen whose plan has five steps or more: all kit, and time enough."""
    body = json.loads(examples()[name])
    kit = json.loads(urllib.request.urlopen(f"{site}/v1/catalog/kit").read())["items"]
    body |= {"minutes": 45, "kit": [one["id"] for one in kit], "options": {"language": language}}
    body["client"] = {**body.get("client", {}), "level": "regular"}
    return json.dumps(body).encode()


def sent(site: str, body: bytes, accept: str, query: str = "") -> bytes:
    request = urllib.request.Request(
        f"{site}/v1/plan{query}",
        data=body,
        headers={"Content-Type": "application/json", "Accept": accept},
    )
    with urllib.request.urlopen(request) as answer:
        read: bytes = answer.read()
    return read


@pytest.mark.parametrize("language", ["de", "en"])
@pytest.mark.parametrize("paper", sorted(PAPERS))
@pytest.mark.parametrize("name", NAMES)
def test_five_steps_print_on_one_page(
    visitor: Visitor, site: str, tmp_path: Path, name: str, paper: str, language: str
) -> None:
    body = five_steps(site, name, language)
    steps = json.loads(sent(site, body, "application/json"))["session"]["steps"]
    assert len(steps) >= 5
    file = tmp_path / "card.html"
    file.write_bytes(sent(site, body, "text/html", f"?paper={paper}"))
    visit = visitor()
    visit.page.goto(f"file://{file}")
    printed = visit.page.pdf(format=PAPERS[paper], prefer_css_page_size=True)
    if PICTURES:
        (Path(PICTURES) / f"card-{name}-{language}-{paper}.pdf").write_bytes(printed)
    assert len(PdfReader(io.BytesIO(printed)).pages) == 1
    assert [url for url in visit.requests if not url.startswith(("file:", "data:"))] == []
    assert visit.faults == []


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_large_type_takes_more_pages_and_splits_no_drill(
    visitor: Visitor, site: str, tmp_path: Path, paper: str
) -> None:
    body = five_steps(site, NAMES[0], "en")
    steps = json.loads(sent(site, body, "application/json"))["session"]["steps"]
    file = tmp_path / "card.html"
    file.write_bytes(sent(site, body, "text/html", f"?paper={paper}&type=large"))
    visit = visitor()
    visit.page.goto(f"file://{file}")
    pages = PdfReader(io.BytesIO(visit.page.pdf(prefer_css_page_size=True))).pages
    assert len(pages) > 1
    read = ["".join(page.extract_text().split()) for page in pages]
    for step in steps:
        first, last = ("".join(text.split()) for text in (step["name"], step["stop_when"]))
        assert any(first in text and last in text for text in read), step["name"]


@pytest.mark.parametrize("name", ["left_knee_nothing_helps", "calf_swelling", "nothing_stands_out"])
def test_a_card_is_accessible(visitor: Visitor, site: str, tmp_path: Path, name: str) -> None:
    file = tmp_path / "card.html"
    file.write_bytes(sent(site, examples()[name], "text/html", "?type=large"))
    visit = visitor(width=390)
    visit.page.goto(f"file://{file}")
    visit.accessible()
    assert visit.faults == []
