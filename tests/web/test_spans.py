"""Spans say route, method, status and time of each request, in the caller's trace; nothing else."""

import json
from collections.abc import Iterator

import pytest
from litestar.testing import TestClient
from opentelemetry.sdk.trace import ReadableSpan
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from opentelemetry.trace import SpanKind, StatusCode

from service.__main__ import main
from service.model.graph import Graph
from service.web.app import create_app
from service.web.edge import Edge
from service.web.spans import Spans
from service.web.trace import trace_of

CANARY = "canary7f3a"
PARENT = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"


class Watched:
    """A client of an application whose spans are kept in memory."""

    def __init__(self, app: Edge) -> None:
        self.kept = InMemorySpanExporter()
        self.spans = Spans(SimpleSpanProcessor(self.kept))
        app.record = self.spans.record
        self.client = TestClient(app)

    def only(self) -> ReadableSpan:
        (span,) = self.kept.get_finished_spans()
        return span


@pytest.fixture
def watched(graph: Graph) -> Iterator[Watched]:
    made = Watched(create_app(graph))
    with made.client:
        yield made
    made.spans.close()


def test_a_request_is_one_span_with_route_method_and_status(watched: Watched) -> None:
    answer = watched.client.post("/v1/plan", json={"observations": []})
    span = watched.only()
    assert span.name == "POST /v1/plan"
    assert span.kind is SpanKind.SERVER
    assert dict(span.attributes or {}) == {
        "http.request.method": "POST",
        "http.response.status_code": 200,
        "http.route": "/v1/plan",
    }
    assert span.resource.attributes["service.name"] == "movewright"
    assert span.start_time is not None and span.end_time is not None
    assert 0 < span.end_time - span.start_time < 60e9
    _, trace, own, flags = answer.headers["traceresponse"].split("-")
    assert f"{span.context.trace_id:032x}" == trace
    assert f"{span.context.span_id:016x}" == own
    assert flags == "01" and span.parent is None


def test_the_trace_of_a_caller_goes_on_in_the_span(watched: Watched) -> None:
    watched.client.get("/livez", headers={"traceparent": PARENT})
    span = watched.only()
    assert span.parent is not None and span.parent.is_remote
    assert f"{span.parent.span_id:016x}" == "b7ad6b7169203331"
    assert f"{span.context.trace_id:032x}" == "0af7651916cd43dd8448eb211c80319c"


def test_what_a_caller_does_not_sample_is_not_recorded(watched: Watched) -> None:
    watched.client.get("/livez", headers={"traceparent": PARENT[:-1] + "0"})
    assert watched.kept.get_finished_spans() == ()


def test_nothing_that_a_caller_wrote_is_in_a_span(watched: Watched) -> None:
    screen = {"client": {"ref": CANARY}, "observations": [], "kit": [CANARY]}
    watched.client.post(f"/v1/plan?q={CANARY}", json=screen, headers={"x-note": CANARY})
    watched.client.post("/v1/plan", json={"observations": [], CANARY: 1})
    watched.client.get(f"/{CANARY}")
    watched.client.get(f"/v1/examples/{CANARY}")
    watched.client.request(CANARY.upper(), "/v1/plan")
    spans = watched.kept.get_finished_spans()
    assert len(spans) == 5
    told = json.dumps([span.to_json() for span in spans])
    assert CANARY not in told and CANARY.upper() not in told


def test_a_fault_of_ours_is_an_error_and_a_callers_is_not(graph: Graph) -> None:
    def broken(screen: object, graph: Graph) -> object:
        raise ZeroDivisionError

    made = Watched(create_app(graph, decide=broken))  # type: ignore[arg-type]
    with made.client as client:
        client.post("/v1/plan", json={"observations": []})
        client.post("/v1/plan", json={})
    ours, theirs = made.kept.get_finished_spans()
    made.spans.close()
    assert ours.status.status_code is StatusCode.ERROR
    assert theirs.status.status_code is StatusCode.UNSET


def test_off_unless_an_address_is_set(graph: Graph) -> None:
    assert create_app(graph).record is None
    assert trace_of(None).flags == "00"


def test_an_address_that_is_none_is_refused(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("MOVEWRIGHT_OTLP_ENDPOINT", "collector:4318")
    assert main(["serve"]) == 2
    assert "`MOVEWRIGHT_OTLP_ENDPOINT`" in capsys.readouterr().err
