"""The card: what a browser or a printer gets for a plan, and what a page of ours may load."""

import html
import json
import re
from html.parser import HTMLParser
from typing import Any

import pytest

from service.web.shipped import examples
from tests.web.test_plan_route import JSON, Client, screen

HOSTILE = "</style><script>alert(1)</script>\"'<b>"


class Tags(HTMLParser):
    """The elements of a page, and the text outside of style sheets."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.tags.append(tag)


def card(client: Client, body: bytes | str, query: str = "", **headers: str) -> Any:
    wanted = {**JSON, "Accept": "text/html", **headers}
    return client.post(f"/v1/plan{query}", content=body, headers=wanted)


@pytest.mark.parametrize("name", sorted(examples()))
def test_every_example_has_a_card_that_loads_nothing(client: Client, name: str) -> None:
    answer = card(client, examples()[name])
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")
    assert answer.headers["cache-control"] == "no-store"
    assert "Accept" in answer.headers["vary"]
    policy = answer.headers["content-security-policy"]
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "unsafe" not in policy
    page = answer.text
    assert not re.search(r'(?:src|href)="(?!data:)', page), "loads or links something"
    assert "script" not in Tags(page).tags
    plan = json.loads(client.post("/v1/plan", content=examples()[name], headers=JSON).text)
    for step in plan["session"]["steps"] if plan["session"] else ():
        assert html.escape(step["name"]) in page
        assert page.count("<svg") >= len(plan["session"]["steps"])
    for referral in plan["referrals"]:
        assert page.index(referral["text"][:40]) < page.index("</h1>") + 4000


def test_what_a_client_is_called_cannot_break_out(client: Client) -> None:
    answer = card(client, screen(client={"ref": HOSTILE, "alerts": [], "pain": []}))
    assert answer.status_code == 200
    assert "<script" not in answer.text and "alert(1)</script>" not in answer.text
    assert "script" not in Tags(answer.text).tags


def test_a_card_speaks_the_language_asked_for(client: Client) -> None:
    body = examples()["left_knee_nothing_helps"]
    german = card(client, body, **{"Accept-Language": "de"})
    assert german.headers["content-language"] == "de"
    assert '<html lang="de"' in german.text
    assert german.text != card(client, body).text


def test_large_type_and_paper_are_asked_for_in_the_query(client: Client) -> None:
    body = examples()["left_knee_nothing_helps"]
    large = card(client, body, "?type=large&paper=a4").text
    assert "size:A4" in large
    assert large != card(client, body, "?paper=a4").text


@pytest.mark.parametrize(
    "query", ["?type=huge", "?paper=a5", "?side=left", "?type=large&type=large"]
)
def test_a_query_that_means_nothing_is_refused(client: Client, query: str) -> None:
    answer = card(client, examples()["left_knee_nothing_helps"], query)
    assert answer.status_code == 400
    assert answer.json()["type"].endswith("unknown-query")


def test_a_pdf_is_the_same_bytes_each_time(client: Client) -> None:
    body = examples()["three_minutes_one_finding"]
    made = [card(client, body, Accept="application/pdf") for _ in range(2)]
    assert made[0].status_code == 200
    assert made[0].headers["content-type"] == "application/pdf"
    assert made[0].content.startswith(b"%PDF")
    assert made[0].content == made[1].content


def test_json_stays_what_a_plan_is_unless_a_page_is_wanted(client: Client) -> None:
    body = examples()["left_knee_nothing_helps"]
    for accept in ("*/*", "application/json", "application/json, text/html;q=0.9"):
        answer = client.post("/v1/plan", content=body, headers={**JSON, "Accept": accept})
        assert answer.headers["content-type"] == "application/json"


BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"


@pytest.mark.parametrize(
    "path",
    [
        "/v1/catalog",
        "/v1/catalog/drills",
        "/v1/catalog/drills/clam",
        "/v1/catalog/findings/knee_in",
        "/v1/catalog/texts",
        "/v1/catalog/rules/one_rung",
        "/problems",
        "/problems/not-the-schema",
    ],
)
def test_a_browser_reads_the_catalogue_as_pages(client: Client, path: str) -> None:
    page = client.get(path, headers={"Accept": BROWSER})
    data = client.get(path)
    assert page.headers["content-type"].startswith("text/html")
    assert data.headers["content-type"] == "application/json"
    assert page.headers["etag"] != data.headers["etag"]
    assert "Accept" in page.headers["vary"] and "Accept" in data.headers["vary"]
    assert page.headers["content-security-policy"].startswith("default-src 'none'; script-src")
    again = client.get(path, headers={"Accept": BROWSER, "If-None-Match": page.headers["etag"]})
    assert again.status_code == 304


def test_a_drill_page_shows_its_picture(client: Client) -> None:
    page = client.get("/v1/catalog/drills/clam", headers={"Accept": BROWSER}).text
    (source,) = re.findall(r'<img src="([^"]+)"', page)
    assert client.get(source).headers["content-type"] == "image/svg+xml"


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_drill_has_a_picture_of_each_side(client: Client, side: str) -> None:
    answer = client.get(f"/v1/catalog/drills/clam/picture.svg?side={side}")
    assert answer.status_code == 200 and f"{side} side" in answer.text
    assert answer.headers["etag"]


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/v1/catalog/drills/clam/picture.svg?side=both", 404),
        ("/v1/catalog/drills/clam/picture.svg?size=2", 400),
        ("/v1/catalog/findings/knee_in/picture.svg?side=left", 400),
        ("/v1/catalog/drills/no_such/picture.svg", 404),
        ("/v1/catalog/causes/calf.control/picture.svg", 404),
    ],
)
def test_a_picture_that_is_not_there_is_a_problem(client: Client, path: str, status: int) -> None:
    answer = client.get(path)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"


def test_files_of_pages_may_be_kept_for_good_only_under_their_version(client: Client) -> None:
    page = client.get("/docs", headers={"Accept": BROWSER}).text
    (path,) = set(re.findall(r'href="(/assets/[^"]+/page.css)"', page))
    held = client.get(path, headers={"Accept": "text/css,*/*;q=0.1"})
    assert held.status_code == 200 and "immutable" in held.headers["cache-control"]
    plain = client.get("/assets/page.css", headers={"Accept": "*/*"})
    assert plain.content == held.content and "immutable" not in plain.headers["cache-control"]
    assert client.get("/assets/0/page.css").status_code == 404
    assert client.get("/assets/..%2fapp.py").status_code == 404


@pytest.mark.parametrize("path", ["/docs", "/docs/component", "/docs/try"])
def test_a_page_follows_the_host_it_was_asked_at(client: Client, path: str) -> None:
    answer = client.get(path, headers={"Accept": BROWSER, "Host": "gym.example"})
    assert answer.status_code == 200
    assert client.get(path, headers={"Accept": "application/json"}).status_code == 406
