"""`POST /v1/plan` takes what the contract describes, and nothing else, to the letter."""

import json
from typing import Any

import msgspec
import pytest
from litestar.testing import TestClient

from service.engine.plan import plan
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.problems import PROBLEMS
from service.web.shipped import examples

Client = TestClient[Any]
JSON = {"Content-Type": "application/json"}
CANARY = "canary7f3a"
SEEN = {"movement": "squat", "view": "front", "finding": "knee_in", "side": "left"}


def send(client: Client, body: bytes | str, **headers: str) -> Any:
    return client.post("/v1/plan", content=body, headers={**JSON, **headers})


def screen(**more: object) -> str:
    return json.dumps({"observations": [{**SEEN, "grade": "marked"}], **more})


def assert_problem(answer: Any, status: int, kind: str) -> Any:
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["cache-control"] == "no-store"
    told = answer.json()
    assert told["type"] == f"/problems/{kind}"
    assert told["status"] == status == PROBLEMS[kind].status
    assert CANARY not in answer.text
    return told


@pytest.mark.parametrize("name", list(examples()))
def test_the_answer_is_the_engines_answer_byte_for_byte(
    client: Client, graph: Graph, name: str
) -> None:
    body = examples()[name]
    answer = send(client, body)
    assert answer.status_code == 200
    decided = plan(msgspec.json.decode(body, type=Screen), graph)
    assert answer.content == msgspec.json.encode(decided)
    assert answer.headers["cache-control"] == "no-store"


def test_every_answer_names_its_versions(client: Client, graph: Graph) -> None:
    for answer in (send(client, screen()), client.get("/nowhere"), client.get("/v1/plan")):
        assert answer.headers["movewright-service"]
        assert answer.headers["movewright-contract"]
        assert graph.pack.digest in answer.headers["movewright-pack"]
        assert answer.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"minutes": "7"}, "/minutes"),
        ({"minutes": True}, "/minutes"),
        ({"minutes": 7.5}, "/minutes"),
        ({"minutes": 0}, "/minutes"),
        ({"minutes": 121}, "/minutes"),
        ({"minutes": 10**30}, "/minutes"),
        ({"minutes": None}, "/minutes"),
        ({"target": "squat\n"}, "/target"),
        ({"kit": [""]}, "/kit/0"),
        ({"kit": ["mat", "x" * 65]}, "/kit/1"),
        ({"kit": ["mat"] * 65}, "/kit"),
        ({"kit": "mat"}, "/kit"),
        ({"client": {"ref": "x" * 65}}, "/client/ref"),
        ({"client": {"age_years": "34"}}, "/client/age_years"),
        ({"known": [{"cause": "squat.skill", "present": 1}]}, "/known/0/present"),
        ({"known": [{"cause": "squat.skill", "present": "true"}]}, "/known/0/present"),
        (
            {"measurements": [{"measure": "hip_flexion", "value": "nan", "unit": "deg"}]},
            "/measurements/0/value",
        ),
        ({"observations": None}, "/observations"),
        ({"observations": [{**SEEN, "grade": CANARY}]}, "/observations/0/grade"),
        ({"observations": [{**SEEN, "grade": "mild", CANARY: 1}]}, "/observations/0"),
        ({"observations": [SEEN]}, "/observations/0"),
        ({CANARY: {"a": 1}}, ""),
        ({"options": {"language": CANARY * 9}}, "/options/language"),
    ],
)
def test_what_does_not_fit_the_schema_is_422_with_its_pointer(
    client: Client, more: dict[str, object], pointer: str
) -> None:
    told = assert_problem(send(client, screen(**more)), 422, "not-the-schema")
    (fault,) = told["errors"]
    assert fault["pointer"] == pointer
    assert fault["detail"]


def test_a_fault_says_what_belongs_there(client: Client) -> None:
    wrong = {"observations": [{**SEEN, "grade": "heavy"}]}
    said = send(client, screen(**wrong)).json()["errors"][0]["detail"]
    assert said == "expected one of: absent, marked, mild"
    missing = send(client, "{}").json()["errors"][0]
    assert missing == {"pointer": "", "detail": "the object needs the field `observations`"}
    minutes = send(client, screen(minutes=500)).json()["errors"][0]["detail"]
    assert minutes == "expected a whole number from 1 to 120"


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"", "empty-body"),
        (b"{", "malformed-json"),
        (b"{} {}", "malformed-json"),
        (b'\xef\xbb\xbf{"observations":[]}', "malformed-json"),
        (b'{"observations":[],"minutes":NaN}', "malformed-json"),
        (b'{"observations":[],"minutes":-Infinity}', "malformed-json"),
        (b'{"observations":[],"minutes":01}', "malformed-json"),
        (b'{"observations":[],"client":{"ref":"\\ud800"}}', "malformed-json"),
        (b'{"observations":[],"client":{"ref":"canary7f3a\xff"}}', "not-utf8"),
        (b'{"observations":[],"client":{"ref":"\xed\xa0\x80"}}', "not-utf8"),
        ('{"observations":[]}'.encode("utf-16"), "malformed-json"),
        (b'{"observations":' + b"[" * 5000 + b"]" * 5000 + b"}", "nested-too-deeply"),
        (b"[" * 100_000, "nested-too-deeply"),
        (b'{"a":' * 20_000 + b"1" + b"}" * 20_000, "nested-too-deeply"),
    ],
)
def test_what_is_not_json_is_400(client: Client, body: bytes, kind: str) -> None:
    assert assert_problem(send(client, body), 400, kind)["errors"] == []


def test_a_number_out_of_every_range_is_422(client: Client) -> None:
    for number in (b"1e999", b"9" * 5000):
        told = assert_problem(
            send(client, b'{"observations":[],"minutes":' + number + b"}"), 422, "not-the-schema"
        )
        assert told["errors"][0]["pointer"] == "/minutes"


def test_a_whole_number_may_be_written_as_a_float(client: Client) -> None:
    plain = send(client, screen(minutes=12))
    for written in ("12.0", "1.2e1"):
        body = screen(minutes=12).replace('"minutes": 12', f'"minutes": {written}')
        assert send(client, body).content == plain.content


def test_of_two_equal_names_the_last_counts(client: Client) -> None:
    twice = '{"minutes": 3, "observations": [], "minutes": 30}'
    once = '{"observations": [], "minutes": 30}'
    assert send(client, twice).content == send(client, once).content


@pytest.mark.parametrize(
    "media",
    ["text/plain", "application/xml", "application/json; charset=latin-1", "", "application/jsonx"],
)
def test_another_media_type_is_415(client: Client, media: str) -> None:
    answer = client.post("/v1/plan", content=screen(), headers={"Content-Type": media})
    assert_problem(answer, 415, "unsupported-media-type")
    assert answer.headers["accept"] == "application/json"


def test_a_missing_media_type_is_415(client: Client) -> None:
    assert_problem(client.post("/v1/plan", content=screen()), 415, "unsupported-media-type")


def test_a_media_type_with_utf8_is_taken(client: Client) -> None:
    for media in ("application/json; charset=utf-8", 'Application/JSON;charset="UTF-8"'):
        assert send(client, screen(), **{"Content-Type": media}).status_code == 200


def test_a_compressed_body_is_415(client: Client) -> None:
    told = send(client, screen(), **{"Content-Encoding": "gzip"})
    assert_problem(told, 415, "unsupported-encoding")


@pytest.mark.parametrize("accept", ["image/png", "application/json;q=0", "image/*", "*/*;q=0"])
def test_an_accept_header_without_json_is_406(client: Client, accept: str) -> None:
    assert_problem(send(client, screen(), Accept=accept), 406, "not-acceptable")


@pytest.mark.parametrize(
    "accept",
    ["", "*/*", "application/*", "text/html, application/json;q=0.1", "text/html,*/*;q=0.8"],
)
def test_an_accept_header_with_room_for_json_is_served(client: Client, accept: str) -> None:
    assert send(client, screen(), Accept=accept).status_code == 200


def test_a_body_above_the_limit_is_413_and_at_the_limit_is_read(client: Client) -> None:
    padded = screen().encode().ljust(256 * 1024)
    assert send(client, padded).status_code == 200
    assert_problem(send(client, padded + b" "), 413, "body-too-large")


def test_a_query_is_400(client: Client) -> None:
    answer = client.post(f"/v1/plan?{CANARY}=1", content=screen(), headers=JSON)
    assert_problem(answer, 400, "unknown-query")


def test_other_methods_are_405_with_allow(client: Client) -> None:
    for method in ("GET", "HEAD", "PUT", "PATCH", "DELETE", "TRACE"):
        answer = client.request(method, "/v1/plan")
        assert answer.status_code == 405
        assert answer.headers["allow"] == "OPTIONS, POST"
    options = client.options("/v1/plan")
    assert options.status_code == 204
    assert "POST" in options.headers["allow"]
