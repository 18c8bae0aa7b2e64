"""Many screens: in order, each line on its own, the same bytes whatever happens in between."""

import json
import os
import signal
import subprocess
import sys
import time
from hashlib import sha256
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given, seed
from hypothesis import strategies as st
from litestar.testing import TestClient

from service.model.errors import SettingError
from service.model.graph import Graph
from service.web.app import create_app
from service.web.bulk import Lines
from service.web.settings import Settings
from service.web.shards import Shard, run_shard, shard_of
from service.web.shipped import examples
from tests.strategies import random_screen

NDJSON = {"Content-Type": "application/x-ndjson"}
SCREENS = [json.dumps(json.loads(body)).encode() for body in examples().values()]
Client = TestClient[Any]


def told(body: bytes) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """The lines of an answer and its summary, after the summary was held against them."""
    *lines, last = body.splitlines(keepends=True)
    rows = [json.loads(line) for line in lines]
    summary: dict[str, Any] = json.loads(last)["summary"]
    assert summary["sha256"] == sha256(b"".join(lines)).hexdigest()
    assert summary["lines"] == len(rows)
    assert summary["answers"] == sum("answer" in row for row in rows)
    assert summary["problems"] == sum("problem" in row for row in rows)
    return rows, summary


def test_each_line_is_answered_as_it_would_be_alone(client: Client) -> None:
    answer = client.post("/v1/bulk/plan", content=b"\n".join(SCREENS), headers=NDJSON)
    assert answer.headers["content-type"].startswith("application/x-ndjson")
    assert answer.headers["cache-control"] == "no-store"
    rows, summary = told(answer.content)
    assert [row["line"] for row in rows] == list(range(1, len(SCREENS) + 1))
    for row, screen in zip(rows, SCREENS, strict=True):
        alone = client.post(
            "/v1/plan", content=screen, headers={"Content-Type": "application/json"}
        )
        assert row["answer"] == alone.json()
    assert summary["complete"] is True


def test_an_array_is_answered_as_its_lines_are(client: Client) -> None:
    lines = client.post("/v1/bulk/plan", content=b"\n".join(SCREENS[:5]), headers=NDJSON)
    array = client.post("/v1/bulk/plan", json=[json.loads(one) for one in SCREENS[:5]])
    assert array.content == lines.content


def test_a_bad_line_is_a_problem_with_its_number_and_stops_nothing(client: Client) -> None:
    body = b'\n{"observations": []}\r\n\n{"minutes": "7"}\n\xff\n{"observations": []}'
    rows, summary = told(client.post("/v1/bulk/plan", content=body, headers=NDJSON).content)
    assert [(row["line"], "answer" in row) for row in rows] == [
        (2, True),
        (4, False),
        (5, False),
        (6, True),
    ]
    assert rows[1]["problem"]["errors"][0]["detail"]
    assert rows[2]["problem"]["type"] == "/problems/malformed-json"
    assert (summary["answers"], summary["problems"]) == (2, 2)


def test_a_line_above_the_limit_is_skipped_whole(graph: Graph) -> None:
    with TestClient(create_app(graph, Settings(max_body_bytes=1024))) as client:
        body = b"x" * 5000 + b'\n{"observations": []}\n' + b"y" * 1025 + b"\n"
        rows, _ = told(client.post("/v1/bulk/plan", content=body, headers=NDJSON).content)
    assert [(row["line"], "answer" in row) for row in rows] == [(1, False), (2, True), (3, False)]
    assert rows[0]["problem"]["type"] == "/problems/body-too-large"


def test_more_lines_than_allowed_end_it_and_the_summary_says_so(graph: Graph) -> None:
    with TestClient(create_app(graph, Settings(max_bulk_lines=3))) as client:
        body = b'{"observations": []}\n' * 5
        rows, summary = told(client.post("/v1/bulk/plan", content=body, headers=NDJSON).content)
    assert [row["line"] for row in rows] == [1, 2, 3, 4]
    assert rows[3]["problem"]["type"] == "/problems/bulk-too-long"
    assert summary["complete"] is False


def test_only_so_many_bulk_requests_run(graph: Graph) -> None:
    with TestClient(create_app(graph, Settings(max_bulk_requests=0))) as client:
        answer = client.post("/v1/bulk/plan", content=SCREENS[0], headers=NDJSON)
        assert answer.status_code == 503 and answer.headers["retry-after"] == "1"
        assert 'movewright_shed_total{full="bulk"} 1' in client.get("/metrics").text


@seed(20261125)
@given(st.binary(max_size=400), st.lists(st.integers(0, 400), max_size=6))
def test_lines_are_the_same_however_the_stream_is_cut(body: bytes, cuts: list[int]) -> None:
    def lines(chunks: list[bytes]) -> list[tuple[int, bytes | None]]:
        cutter = Lines(50)
        found = [one for chunk in chunks for one in cutter.feed(chunk)]
        return found + list(cutter.finish())

    edges = [0, *sorted(cuts), len(body)]
    pieces = [body[a:b] for a, b in pairwise(edges)]
    assert lines(pieces) == lines([body])


def source(folder: Path, graph: Graph, count: int) -> Path:
    file = folder / "screens.ndjson"
    rows = [msgspec.json.encode(random_screen(graph, n, healthy=False)) for n in range(count)]
    rows[3:3] = [b"", b"{", b"x" * 300_000]
    file.write_bytes(b"\n".join(rows))
    return file


def test_shards_and_workers_never_change_a_line(graph: Graph, tmp_path: Path) -> None:
    file = source(tmp_path, graph, 40)
    whole = run_shard(file, tmp_path / "one", Shard(index=1, of=1), 1, graph)
    rows, _ = told((tmp_path / "one" / whole.output).read_bytes())
    again = run_shard(file, tmp_path / "two", Shard(index=1, of=1), 2, graph)
    assert again == whole
    parts = []
    for index in (1, 2, 3):
        made = run_shard(file, tmp_path / "three", Shard(index=index, of=3), 1, graph)
        body = (tmp_path / "three" / made.output).read_bytes()
        assert made.output_sha256 == sha256(body).hexdigest()
        parts += told(body)[0]
    assert parts == rows
    kept = sorted(path.name for path in (tmp_path / "three").iterdir())
    assert len(kept) == 6 and not [name for name in kept if "partial" in name or "state" in name]


@pytest.mark.parametrize("keep", [0, 1, 500, 40_000])
def test_a_run_that_was_cut_off_goes_on_to_the_same_bytes(
    graph: Graph, tmp_path: Path, keep: int
) -> None:
    file = source(tmp_path, graph, 12)
    shard = Shard(index=1, of=1)
    whole = run_shard(file, tmp_path / "whole", shard, 1, graph)
    body = (tmp_path / "whole" / whole.output).read_bytes()
    folder = tmp_path / "cut"
    folder.mkdir()
    (folder / f"{whole.output}.partial").write_bytes(body[:keep])
    state = whole.output.replace(".ndjson", ".state.json")
    (folder / state).write_bytes(msgspec.json.encode(whole.part))
    assert run_shard(file, folder, shard, 1, graph) == whole
    assert (folder / whole.output).read_bytes() == body


def test_what_was_written_for_another_input_is_not_kept(graph: Graph, tmp_path: Path) -> None:
    file = source(tmp_path, graph, 6)
    shard = Shard(index=1, of=1)
    first = run_shard(file, tmp_path / "out", shard, 1, graph)
    body = (tmp_path / "out" / first.output).read_bytes()
    (tmp_path / "out" / f"{first.output}.partial").write_bytes(body[:3000])
    state = first.output.replace(".ndjson", ".state.json")
    (tmp_path / "out" / state).write_bytes(msgspec.json.encode(first.part))
    file.write_bytes(b'{"observations": []}\n' + file.read_bytes())
    other = run_shard(file, tmp_path / "out", shard, 1, graph)
    assert other.answers == first.answers + 1
    told((tmp_path / "out" / other.output).read_bytes())


def test_a_killed_command_is_resumed(graph: Graph, tmp_path: Path) -> None:
    file = source(tmp_path, graph, 400)
    out = tmp_path / "out"
    command = [sys.executable, "-m", "service", "bulk", str(file), "--out", str(out)]
    partial = out / "part-00001-of-00001.ndjson.partial"
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:
        give_up = time.monotonic() + 30
        while time.monotonic() < give_up and not (partial.is_file() and partial.stat().st_size):
            time.sleep(0.02)
        os.kill(process.pid, signal.SIGKILL)
    kept = partial.read_bytes()
    assert kept
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert "400 answers, 2 problems" in done.stdout
    body = (out / "part-00001-of-00001.ndjson").read_bytes()
    assert body.startswith(kept[: kept.rfind(b"\n") + 1])
    told(body)


@pytest.mark.parametrize("text", ["", "1", "0/2", "3/2", "a/b", "1/2/3", "-1/2", "1/100000"])
def test_a_shard_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(SettingError, match="i/n"):
        shard_of(text)
