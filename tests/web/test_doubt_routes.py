"""The routes of doubt over HTTP: next check, validation, and the language of each."""

import msgspec
import pytest
from litestar.testing import TestClient

from service.engine.plan import plan
from service.model.answer import Answer, NextCheckAnswer, Validation
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.app import create_app
from service.web.shipped import examples

ROUTES = ("/v1/next-check", "/v1/plan", "/v1/validate")
SCREEN = examples()["one_more_look"]
JSON = {"Content-Type": "application/json"}


@pytest.fixture(scope="module")
def client(graph: Graph) -> TestClient[object]:
    return TestClient(create_app(graph))  # type: ignore[arg-type]


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize(
    ("accept", "language"),
    [(None, "en"), ("de-AT, en;q=0.3", "de"), ("xx", "en"), ("fr;q=0.9, *;q=0.1", "en")],
)
def test_every_answer_to_a_screen_names_its_language(
    client: TestClient[object], route: str, accept: str | None, language: str
) -> None:
    headers = JSON | ({"Accept-Language": accept} if accept else {})
    answer = client.post(route, content=SCREEN, headers=headers)
    assert answer.status_code == 200
    assert answer.headers["content-language"] == language
    assert "accept-language" in answer.headers["vary"].lower()
    assert answer.headers["cache-control"] == "no-store"


def test_the_screens_own_wish_counts_before_the_header(client: TestClient[object]) -> None:
    wished = msgspec.json.decode(SCREEN) | {"options": {"language": "de"}}
    answer = client.post(
        "/v1/plan", content=msgspec.json.encode(wished), headers=JSON | {"Accept-Language": "en"}
    )
    assert answer.headers["content-language"] == "de"
    assert "Am wahrscheinlichsten" in answer.text


def test_the_decision_is_the_same_over_every_route_and_language(
    client: TestClient[object], graph: Graph
) -> None:
    expected = plan(msgspec.json.decode(SCREEN, type=Screen), graph).decision
    kinds = {"/v1/next-check": NextCheckAnswer, "/v1/plan": Answer, "/v1/validate": Validation}
    for route, kind in kinds.items():
        for language in ("de", "en"):
            body = client.post(
                route, content=SCREEN, headers=JSON | {"Accept-Language": language}
            ).content
            assert msgspec.json.decode(body, type=kind).decision == expected
