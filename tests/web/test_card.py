"""The card: what a browser or a printer gets for a plan, and what a page of ours may load."""

import html
import io
import re
from html.parser import HTMLParser
from typing import Any

import pytest
from litestar.testing import TestClient
from msgspec import structs
from pypdf import PdfReader

from service.engine.plan import plan
from service.model.graph import Graph
from service.web.app import framework_app
from service.web.pages import pdf
from service.web.pages.records import record_page
from service.web.settings import Settings
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
    told = client.post("/v1/plan", content=examples()[name], headers=JSON).json()
    steps = told["session"]["steps"] if told["session"] else []
    places = [page.index(html.escape(step["name"])) for step in steps]
    assert places == sorted(places)
    assert page.count("<svg") == len(steps)
    # whom to see and what to keep to come before anything that is planned
    for limit in (*told["referrals"], *told["cautions"]):
        assert page.index(html.escape(limit["text"])[:40]) < page.index('class="summary"')


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
        ("/v1/catalog/findings/knee_in/picture.svg?size=2", 400),
        ("/v1/catalog/findings/knee_in/picture.svg?side=left", 404),
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


@pytest.mark.parametrize("path", ["/docs", "/docs/component", "/docs/contract", "/docs/try"])
def test_a_page_follows_the_host_it_was_asked_at(client: Client, path: str) -> None:
    answer = client.get(path, headers={"Accept": BROWSER, "Host": "gym.example"})
    assert answer.status_code == 200
    assert client.get(path, headers={"Accept": "application/json"}).status_code == 406


def test_the_root_leads_a_browser_to_the_docs(client: Client) -> None:
    answer = client.get("/", headers={"Accept": BROWSER}, follow_redirects=False)
    assert answer.status_code == 307 and answer.headers["location"] == "/docs"
    assert client.get("/", headers={"Accept": "application/json"}).status_code == 406


def test_the_docs_show_the_answer_that_their_own_commands_give(client: Client) -> None:
    page = html.unescape(client.get("/docs", headers={"Accept": BROWSER}).text)
    (name,) = re.findall(r"/v1/examples/(\w+) -o screen.json", page)
    screen = client.get(f"/v1/examples/{name}").content
    told = client.post("/v1/plan", content=screen, headers=JSON).json()
    assert f'"summary": "{told["summary"]}"' in page
    assert f'"name": "{told["session"]["steps"][0]["name"]}"' in page


def test_a_record_page_says_first_what_a_trainer_reads_for(client: Client) -> None:
    page = client.get("/v1/catalog/drills/clam", headers={"Accept": BROWSER}).text
    drill = client.get("/v1/catalog/drills/clam").json()["items"][0]
    terms = re.findall(r"<dt>([^<]+)</dt>", page)
    assert terms[0] == "cue" and terms.index("stop when") < terms.index("sources")
    assert html.escape(drill["stop_when"]) in page
    assert "poses" not in terms and "impact" not in terms and drill["impact"] is False
    for trained in drill["trains"]:
        assert f'href="/v1/catalog/causes/{trained["cause"]}"' in page


def test_a_record_is_escaped_wherever_it_stands(graph: Graph) -> None:
    drill = structs.replace(graph.drills["clam"], name=HOSTILE, cue=HOSTILE)
    page = record_page("drills", "clam", drill, graph, has_picture=True).decode()
    assert "script" not in Tags(page).tags
    assert (
        page.count(html.escape(HOSTILE).replace("&quot;", "&#34;").replace("&#x27;", "&#39;")) >= 3
    )


def test_without_the_library_a_pdf_is_not_offered(
    graph: Graph, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pdf, "PDF_LIBRARY", "no_such_library")
    app = framework_app(graph, Settings(), plan)
    with TestClient(app) as bare:
        body = examples()["left_knee_nothing_helps"]
        headers = {**JSON, "Accept": "application/pdf"}
        assert bare.post("/v1/plan", content=body, headers=headers).status_code == 406
        headers["Accept"] = "application/pdf, text/html;q=0.5"
        answer = bare.post("/v1/plan", content=body, headers=headers)
        assert answer.headers["content-type"].startswith("text/html")


@pytest.mark.parametrize("query", ["", "?type=large&paper=letter"])
def test_a_pdf_holds_the_drills_and_runs_no_script(client: Client, query: str) -> None:
    body = examples()["left_knee_nothing_helps"]
    steps = client.post("/v1/plan", content=body, headers=JSON).json()["session"]["steps"]
    made = card(client, body, query, Accept="application/pdf").content
    reader = PdfReader(io.BytesIO(made))
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    assert all(step["name"] in text for step in steps)
    assert b"/JavaScript" not in made and b"/URI" not in made
    if query:
        assert float(reader.pages[0].mediabox.width) == 612
