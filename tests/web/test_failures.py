"""A fault of ours is answered and logged without a word of what the caller sent."""

import logging

import pytest
from litestar.testing import TestClient

from service.model.answer import Answer
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.app import create_app

CANARY = "canary7f3a"


def fail(screen: Screen, graph: Graph) -> Answer:
    raise KeyError(f"{screen.client.ref} in {graph.pack.name}")


def test_an_unforeseen_fault_is_500_and_logged_without_content(
    graph: Graph, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    with (
        caplog.at_level(logging.DEBUG),
        TestClient(create_app(graph, decide=fail), raise_server_exceptions=False) as client,
    ):
        answer = client.post("/v1/plan", json={"observations": [], "client": {"ref": CANARY}})
    assert answer.status_code == 500
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["type"] == "/problems/internal-error"
    assert answer.headers["movewright-service"]
    ours = [record.getMessage() for record in caplog.records if record.name == "movewright"]
    assert len(ours) == 1
    assert "KeyError" in ours[0] and "in fail" in ours[0]
    printed = "".join(capfd.readouterr())
    assert CANARY not in answer.text + caplog.text + printed


def test_a_callers_fault_leaves_no_log(
    client: TestClient[object], caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.DEBUG, logger="movewright"):
        client.post("/v1/plan", json={CANARY: CANARY})
        client.get(f"/v1/catalog/{CANARY}")
    assert not [record for record in caplog.records if record.name == "movewright"]
    assert CANARY not in "".join(
        record.getMessage() for record in caplog.records if not record.name.startswith("httpx")
    )
