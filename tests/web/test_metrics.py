"""Counts add up over workers, and every metric and log field is documented."""

import io
import re
from pathlib import Path
from typing import Any

import msgspec
from litestar.testing import TestClient

from service.model.graph import Graph
from service.web.app import create_app
from service.web.log import Log, RequestLine, ServiceLine
from service.web.metrics import BUCKETS, VERDICTS, WORDS, Metrics

GUIDE = (Path(__file__).parents[2] / "docker" / "OPERATING.md").read_text()
SAMPLE = re.compile(r"(?P<name>[a-z_]+)(?P<labels>\{.*\})? (?P<value>[0-9.]+)")


def samples(page: str) -> dict[str, float]:
    found = {}
    for line in page.splitlines():
        if not line.startswith("#"):
            match = SAMPLE.fullmatch(line)
            assert match is not None, line
            found[match["name"] + (match["labels"] or "")] = float(match["value"])
    return found


def test_the_counts_of_all_workers_add_up_and_outlive_them(graph: Graph) -> None:
    metrics = Metrics(["/a", "/b"], graph.pack, workers=3)
    for worker in (0, 1, 2, 1):
        metrics.become(worker)
        metrics.count("in_flight", "")
        metrics.count("verdict", "train")
        metrics.answered("/a", 200, 0.002)
        metrics.answered("/unknown", 404, 99.0)
    found = samples(metrics.page().decode())
    assert found['movewright_requests_total{route="/a",status="200"}'] == 4
    assert found['movewright_requests_total{route="none",status="404"}'] == 4
    assert found['movewright_decisions_total{verdict="train"}'] == 4
    assert found["movewright_worker_starts_total"] == 4
    # the worker that started anew holds nothing from before
    assert found["movewright_in_flight"] == 3


def test_a_histogram_is_cumulative_and_ends_in_its_count(graph: Graph) -> None:
    metrics = Metrics(["/a"], graph.pack)
    times = [0.0005, 0.001, 0.0011, 0.3, 99.0]
    for seconds in times:
        metrics.answered("/a", 200, seconds)
    found = samples(metrics.page().decode())
    name = "movewright_request_seconds"
    for bound in BUCKETS:
        got = found[f'{name}_bucket{{route="/a",le="{bound}"}}']
        assert got == sum(seconds <= bound for seconds in times)
    assert found[f'{name}_bucket{{route="/a",le="+Inf"}}'] == len(times)
    assert found[f'{name}_count{{route="/a"}}'] == len(times)
    assert abs(found[f'{name}_sum{{route="/a"}}'] - sum(times)) < 1e-6


def test_the_page_has_every_metric_that_is_documented_and_no_other(client: TestClient[Any]) -> None:
    page = client.get("/metrics")
    assert page.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    typed = re.findall(r"^# TYPE (\S+) (\S+)$", page.text, re.MULTILINE)
    assert dict(typed) == {name: kind for name, (kind, _) in WORDS.items()}
    assert set(re.findall(r"movewright_[a-z_]+", GUIDE)) == set(WORDS)
    bare = {
        re.sub(r"_(bucket|sum|count)$", "", key.partition("{")[0]) for key in samples(page.text)
    }
    assert bare <= set(WORDS)


def test_decisions_are_counted_by_verdict(graph: Graph) -> None:
    with TestClient(create_app(graph)) as client:
        verdict = client.post("/v1/plan", json={"observations": []}).json()["verdict"]
        found = samples(client.get("/metrics").text)
    for name in VERDICTS:
        assert found[f'movewright_decisions_total{{verdict="{name}"}}'] == (name == verdict)


def test_a_log_line_holds_its_fields_and_each_is_documented() -> None:
    row = {line.split("|")[1].strip(" `"): line for line in GUIDE.splitlines() if "|" in line}
    for kind, struct in (("request", RequestLine), ("service", ServiceLine)):
        assert set(re.findall(r"`(\w+)`", row[kind])) == {kind, *struct.__struct_fields__}
    stream = io.StringIO()
    log = Log(stream, requests=False)
    values: dict[str, Any] = {
        "at": 1.0, "route": "/a", "method": "GET", "ms": 1.0, "bytes_in": 0, "bytes_out": 0,
        "trace": "", "span": "", "key": "", "pack": "",
    }  # fmt: skip
    log.request(RequestLine(**values, status=200))
    log.request(RequestLine(**values, status=500))
    (line,) = stream.getvalue().splitlines()
    assert msgspec.json.decode(line)["status"] == 500


def test_a_log_that_cannot_be_written_takes_no_request_with_it() -> None:
    stream = io.StringIO()
    stream.close()
    Log(stream).service("ended")
