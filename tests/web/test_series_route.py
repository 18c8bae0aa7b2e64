"""`POST /v1/series` and `movewright series`: what goes in, what comes out, what is refused."""

import json
from pathlib import Path

import msgspec
import pytest
from litestar.testing import TestClient

from service.__main__ import main
from service.engine.series import series
from service.model.graph import Graph
from service.model.screen import Screen
from service.model.series import SeriesAnswer, SeriesRequest
from service.web.app import create_app
from service.web.pages.series import WIDTH, render_series
from service.web.shipped import examples

JSON = {"Content-Type": "application/json"}
REQUESTS = examples("series")
SCREENS = examples()


@pytest.fixture(scope="module")
def client(graph: Graph) -> TestClient[object]:
    return TestClient(create_app(graph))  # type: ignore[arg-type]


def request_of(name: str, weeks: int = 6, sessions: int = 3) -> SeriesRequest:
    screen = msgspec.json.decode(SCREENS[name], type=Screen)
    return SeriesRequest(screen=screen, weeks=weeks, sessions_a_week=sessions)


@pytest.mark.parametrize("name", list(REQUESTS))
def test_an_example_is_answered_as_the_engine_does(
    client: TestClient[object], graph: Graph, name: str
) -> None:
    told = client.post("/v1/series", content=REQUESTS[name], headers=JSON)
    assert told.status_code == 200
    assert told.headers["cache-control"] == "no-store"
    assert told.headers["content-language"] == "en"
    answer = msgspec.json.decode(told.content, type=SeriesAnswer)
    asked = msgspec.json.decode(REQUESTS[name], type=SeriesRequest)
    assert answer == msgspec.json.decode(msgspec.json.encode(series(asked, graph)),
                                         type=SeriesAnswer)  # fmt: skip
    assert len(answer.weeks) == asked.weeks


def test_the_header_settles_the_language(client: TestClient[object]) -> None:
    told = client.post(
        "/v1/series",
        content=next(iter(REQUESTS.values())),
        headers=JSON | {"Accept-Language": "de"},
    )
    assert told.headers["content-language"] == "de"
    assert "Einheiten in der Woche" in told.json()["summary"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"weeks": 0}, "/weeks"),
        ({"weeks": 13}, "/weeks"),
        ({"weeks": "6"}, "/weeks"),
        ({"weeks": 2.5}, "/weeks"),
        ({"sessions_a_week": 8}, "/sessions_a_week"),
        ({"minutes": 121}, "/minutes"),
        ({"screen": {"observations": [], "minutes": 0}}, "/screen/minutes"),
        ({"screen": {}}, "/screen"),
        ({"more": 1}, ""),
    ],
)
def test_what_is_no_request_is_refused_where_it_is_wrong(
    client: TestClient[object], change: dict[str, object], pointer: str
) -> None:
    body = json.loads(next(iter(REQUESTS.values()))) | change
    told = client.post("/v1/series", content=json.dumps(body), headers=JSON)
    assert told.status_code == 422
    assert [fault["pointer"] for fault in told.json()["errors"]] == [pointer]


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        (b"", JSON, 400),
        (b"{", JSON, 400),
        (b"\xff", JSON, 400),
        (b"[" * 5000, JSON, 400),
        (b"{}", {"Content-Type": "text/plain"}, 415),
        (b"{}", JSON | {"Content-Encoding": "gzip"}, 415),
        (b"{}", JSON | {"Accept": "text/html"}, 406),
        (b"{}", JSON, 422),
    ],
)
def test_a_body_that_is_no_json_object_is_a_problem(
    client: TestClient[object], body: bytes, headers: dict[str, str], status: int
) -> None:
    told = client.post("/v1/series", content=body, headers=headers)
    assert told.status_code == status
    assert told.headers["content-type"] == "application/problem+json"


def test_a_whole_number_may_be_written_with_a_point(client: TestClient[object]) -> None:
    body = json.loads(next(iter(REQUESTS.values()))) | {"weeks": 2.0}
    told = client.post("/v1/series", content=json.dumps(body), headers=JSON)
    assert len(told.json()["weeks"]) == 2


def test_a_warning_points_into_the_request(client: TestClient[object]) -> None:
    screen = json.loads(SCREENS["left_knee_nothing_helps"]) | {"kit": ["mini_bnad"]}
    told = client.post("/v1/series", content=json.dumps({"screen": screen}), headers=JSON)
    pointers = [one["pointer"] for one in told.json()["warnings"]]
    assert "/screen/kit/0" in pointers
    assert all(one.startswith("/screen") for one in pointers)


@pytest.mark.parametrize("name", list(SCREENS))
def test_the_page_names_every_day_once_and_every_drill(graph: Graph, name: str) -> None:
    answer = series(request_of(name, 12), graph)
    page = render_series(answer)
    lines = page.splitlines()
    assert max(map(len, lines)) <= WIDTH
    for week in answer.weeks:
        assert sum(line.split(" (")[0] == f"Week {week.week}" for line in lines) == 1
        if [change.code for change in week.changes] == ["same"]:
            days = ", ".join(str(session.day) for session in week.sessions)
            assert sum(line in (f"Days {days}.", f"Day {days}.") for line in lines) == 1
            continue
        for session in week.sessions:
            starts = (f"Day {session.day}: as day", f"Day {session.day}, {session.minutes:g} min")
            assert sum(line.startswith(starts) for line in lines) == 1
    for drill in answer.drills:
        assert sum(line.startswith(f"{drill.name} (week") for line in lines) == 1
    joined = " ".join(page.split())
    held = [one.text for one in (*answer.referrals, *answer.cautions)]
    held += [one.text for one in (*answer.notes, *answer.look_at)]
    for text in held:
        assert " ".join(text.split()) in joined


def test_a_session_is_written_in_full_only_once(graph: Graph) -> None:
    answer = series(request_of("left_knee_nothing_helps", 12), graph)
    page = render_series(answer)
    kinds = {tuple(s.drill for s in one.steps) for week in answer.weeks for one in week.sessions}
    assert 1 <= page.count(" minutes:\n") <= len(kinds)
    assert len(kinds) < sum(len(week.sessions) for week in answer.weeks) / 3


@pytest.fixture
def screen(tmp_path: Path) -> Path:
    file = tmp_path / "screen.json"
    file.write_bytes(SCREENS["left_knee_nothing_helps"])
    return file


def test_the_command_prints_a_page_or_the_raw_answer(
    screen: Path, graph: Graph, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["series", str(screen), "--weeks", "2", "--sessions", "1"]) == 0
    answer = series(request_of("left_knee_nothing_helps", 2, 1), graph)
    assert capsys.readouterr().out == render_series(answer)
    assert main(["series", str(screen), "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["weeks"]) == 6


@pytest.mark.parametrize("flags", [["--weeks", "13"], ["--weeks", "x"], ["--sessions", "0"]])
def test_the_command_refuses_numbers_that_no_series_has(
    screen: Path, flags: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["series", str(screen), *flags])
    assert ended.value.code == 2
    assert "whole number from 1 to" in capsys.readouterr().err
