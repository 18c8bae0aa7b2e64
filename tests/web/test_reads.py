"""Read routes serve whole, live, tagged documents, by GET and by HEAD."""

from datetime import date
from typing import Any

import msgspec
import pytest
from litestar.testing import TestClient

from service.model.graph import Graph
from service.web.catalog import RECORDS
from service.web.problems import PROBLEMS
from service.web.shipped import contract_file, examples

Client = TestClient[Any]
PATHS = [
    "/openapi.json",
    "/problems",
    "/problems/not-found",
    "/v1/about",
    "/v1/catalog",
    "/v1/catalog/drills",
    "/v1/catalog/movements/squat",
    "/v1/examples",
    f"/v1/examples/{next(iter(examples()))}",
]


@pytest.mark.parametrize("path", PATHS)
def test_a_document_is_tagged_and_not_sent_twice(client: Client, path: str) -> None:
    first = client.get(path, headers={"Accept-Encoding": "identity"})
    assert first.status_code == 200
    assert first.headers["content-type"] == "application/json"
    assert first.headers["vary"] == "Accept"
    tag = first.headers["etag"]
    for held in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        again = client.get(path, headers={"If-None-Match": held})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["etag"] == tag
    assert client.get(path, headers={"If-None-Match": '"other"'}).status_code == 200


@pytest.mark.parametrize("path", [*PATHS, "/livez", "/readyz"])
def test_head_is_get_without_the_body(client: Client, path: str) -> None:
    got, head = client.get(path), client.head(path)
    assert head.status_code == got.status_code == 200
    assert head.content == b""
    one, two = dict(head.headers), dict(got.headers)
    assert one.pop("traceresponse") != two.pop("traceresponse")
    assert one == two
    assert client.post(path).status_code == 405
    assert client.post(path).headers["allow"] == "GET, HEAD, OPTIONS"


@pytest.mark.parametrize("path", [*PATHS, "/livez", "/readyz"])
def test_a_read_refuses_a_query_and_a_form_it_has_not(client: Client, path: str) -> None:
    assert client.get(f"{path}?a=1").json()["type"] == "/problems/unknown-query"
    assert client.get(path, headers={"Accept": "image/png"}).status_code == 406


@pytest.mark.parametrize("kind", [kind for kind in RECORDS if kind != "texts"])
def test_a_kind_is_served_as_its_live_records_are(client: Client, graph: Graph, kind: str) -> None:
    body = client.get(f"/v1/catalog/{kind}").content
    live = getattr(graph, kind)
    expected = {"items": list(live.values()), "pack": graph.pack}
    assert body == msgspec.json.encode(expected)
    assert [item["id"] for item in msgspec.json.decode(body)["items"]] == sorted(live)
    for item in msgspec.json.decode(body)["items"]:
        if kind != "sources":
            assert item["status"] == "live"
            assert date.fromisoformat(item["checked"])


@pytest.mark.parametrize("kind", list(RECORDS))
def test_every_record_is_served_alone_as_in_its_list(client: Client, kind: str) -> None:
    for item in client.get(f"/v1/catalog/{kind}").json()["items"]:
        alone = client.get(f"/v1/catalog/{kind}/{item['id']}")
        assert alone.status_code == 200
        assert alone.json()["items"] == [item]


def test_the_overview_counts_what_is_served(client: Client) -> None:
    kinds = client.get("/v1/catalog").json()["items"]
    assert [row["kind"] for row in kinds] == sorted(RECORDS)
    for row in kinds:
        assert len(client.get(row["href"]).json()["items"]) == row["count"] > 0


def test_an_example_is_served_byte_for_byte(client: Client) -> None:
    names = [row["name"] for row in client.get("/v1/examples").json()["items"]]
    assert names == sorted(examples())
    for name in names:
        assert client.get(f"/v1/examples/{name}").content == examples()[name]


def test_every_problem_has_its_page(client: Client) -> None:
    listed = client.get("/problems").json()["items"]
    assert [row["type"] for row in listed] == sorted(PROBLEMS) == list(PROBLEMS)
    for row in listed:
        assert client.get(f"/problems/{row['type']}").json() == row
        assert row["meaning"] and row["cause"] and row["fix"]


def test_the_contract_is_served_byte_for_byte(client: Client) -> None:
    assert client.get("/openapi.json").content == contract_file().read_bytes()


def test_about_names_the_pack_and_its_limits(client: Client, graph: Graph) -> None:
    about = client.get("/v1/about").json()
    assert about["pack"]["digest"] == graph.pack.digest
    assert "clinician" in about["notice"]


@pytest.mark.parametrize(
    "path",
    [
        "/docs/canary7f3a",
        "/schema",
        "/v1",
        "/v1/catalog/canary7f3a",
        "/v1/catalog/canary7f3a/squat",
        "/v1/catalog/drills/canary7f3a",
        "/v1/catalog/drills/canary7f3a/more",
        "/v1/catalog/drills/..%2f..%2fcanary7f3a",
        "/v1/examples/canary7f3a",
        "/v1/examples/..%2fopenapi",
        "/problems/canary7f3a",
    ],
)
def test_what_is_not_there_is_a_problem_that_repeats_nothing(client: Client, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["type"] == "/problems/not-found"
    assert "canary7f3a" not in answer.text
