"""`POST /v1/review` and `movewright review`: what goes in, what comes out, what is refused."""

import json
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import msgspec
import pytest
from litestar.testing import TestClient

from service.__main__ import main
from service.engine.review import review
from service.model.graph import Graph
from service.model.review import ReviewAnswer, ReviewRequest
from service.web.app import create_app
from service.web.pages.review import WIDTH, render_review
from service.web.shipped import examples

JSON = {"Content-Type": "application/json"}
REQUESTS = examples("review")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def client(graph: Graph) -> TestClient[object]:
    return TestClient(create_app(graph))  # type: ignore[arg-type]


def request_of(name: str) -> ReviewRequest:
    return msgspec.json.decode(REQUESTS[name], type=ReviewRequest)


@pytest.mark.parametrize("name", list(REQUESTS))
def test_an_example_is_answered_as_the_engine_does(
    client: TestClient[object], graph: Graph, name: str
) -> None:
    told = client.post("/v1/review", content=REQUESTS[name], headers=JSON)
    assert told.status_code == 200
    assert told.headers["cache-control"] == "no-store"
    assert told.headers["content-language"] == "en"
    answer = msgspec.json.decode(told.content, type=ReviewAnswer)
    ours = msgspec.json.encode(review(request_of(name), graph))
    assert answer == msgspec.json.decode(ours, type=ReviewAnswer)
    assert answer.findings
    assert answer.drills


def test_the_header_settles_the_language(client: TestClient[object]) -> None:
    told = client.post(
        "/v1/review",
        content=next(iter(REQUESTS.values())),
        headers=JSON | {"Accept-Language": "de"},
    )
    assert told.headers["content-language"] == "de"
    english = client.post("/v1/review", content=next(iter(REQUESTS.values())), headers=JSON)
    assert told.json()["summary"] != english.json()["summary"]
    assert told.json()["decision"] == english.json()["decision"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"days_between": 4000}, "/days_between"),
        ({"days_between": "21"}, "/days_between"),
        ({"done": [{"drill": "clam_band", "felt": "fine"}]}, "/done/0/felt"),
        ({"done": [{"drill": "clam_band", "pain": 11}]}, "/done/0/pain"),
        ({"done": [{"felt": "easy"}]}, "/done/0"),
        ({"retest": {"observations": [], "minutes": 0}}, "/retest/minutes"),
        ({"baseline": {}}, "/baseline"),
        ({"more": 1}, ""),
    ],
)
def test_what_is_no_request_is_refused_where_it_is_wrong(
    client: TestClient[object], change: dict[str, object], pointer: str
) -> None:
    body = json.loads(next(iter(REQUESTS.values()))) | change
    told = client.post("/v1/review", content=json.dumps(body), headers=JSON)
    assert told.status_code == 422
    assert [fault["pointer"] for fault in told.json()["errors"]] == [pointer]


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        (b"", JSON, 400),
        (b"{", JSON, 400),
        (b"{}", {"Content-Type": "text/plain"}, 415),
        (b"{}", JSON | {"Accept": "image/svg+xml"}, 406),
        (b"{}", JSON, 422),
    ],
)
def test_a_body_that_is_no_review_is_a_problem(
    client: TestClient[object], body: bytes, headers: dict[str, str], status: int
) -> None:
    told = client.post("/v1/review", content=body, headers=headers)
    assert told.status_code == status
    assert told.headers["content-type"] == "application/problem+json"


def test_whatever_fits_the_schema_is_answered(client: TestClient[object]) -> None:
    body = {
        "baseline": {"observations": []},
        "retest": {"observations": []},
        "days_between": -5,
        "between": [{"day": -1, "screen": {"observations": []}}],
        "done": [{"drill": "no_such_drill"}],
        "charts": True,
    }
    told = client.post("/v1/review", content=json.dumps(body), headers=JSON)
    assert told.status_code == 200
    found = {one["code"] for one in told.json()["warnings"]}
    assert found >= {"days_reversed", "day_outside", "unknown_drill"}


@pytest.mark.parametrize("name", list(REQUESTS))
def test_a_chart_is_a_picture_in_black_with_its_values_and_its_noise(
    graph: Graph, name: str
) -> None:
    asked = msgspec.structs.replace(request_of(name), charts=True)
    for said in review(asked, graph).measures:
        assert said.chart is not None
        root = ElementTree.fromstring(said.chart)
        assert root.tag == f"{SVG}svg"
        assert len(root.findall(f"{SVG}circle")) == len(said.points)
        assert len(root.findall(f"{SVG}rect")) == (said.mdc95 is not None)
        colours = {e.get(k) for e in root.iter() for k in ("fill", "stroke")}
        assert colours <= {None, "none", "currentColor"}
        text = " ".join(e.text or "" for e in root.iter(f"{SVG}text"))
        assert f"{said.was:g}" in text
        assert f"{said.now:g}" in text


@pytest.mark.parametrize("name", list(REQUESTS))
def test_the_page_says_all_that_changed_before_the_next_session(graph: Graph, name: str) -> None:
    answer = review(request_of(name), graph)
    page = render_review(answer)
    assert max(map(len, page.splitlines())) <= WIDTH
    joined = " ".join(page.split())
    before, _, after = joined.partition(" Next session ")
    said = [one.text for one in (*answer.referrals, *answer.notes)]
    said += [one.text for one in (*answer.findings, *answer.measures)]
    said += [reason.text for one in answer.drills for reason in one.because]
    for text in said:
        assert " ".join(text.split()) in before
    assert " ".join(answer.next.summary.split()) in after
    for referral in answer.referrals:
        assert before.index(" ".join(referral.text.split())) < before.index(answer.summary[:40])


def test_the_command_prints_a_page_or_the_raw_answer(
    tmp_path: Path, graph: Graph, capsys: pytest.CaptureFixture[str]
) -> None:
    name, body = next(iter(REQUESTS.items()))
    file = tmp_path / "two_screens.json"
    file.write_bytes(body)
    answer = review(request_of(name), graph)
    assert main(["review", str(file)]) == 0
    assert capsys.readouterr().out == render_review(answer)
    assert main(["review", str(file), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["decision"] == answer.decision
    file.write_bytes(b"{}")
    assert main(["review", str(file)]) == 2
