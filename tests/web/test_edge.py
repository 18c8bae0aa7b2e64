"""What every answer carries, who may call, and how much."""

import asyncio
import gzip
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import TestClient

from service.model.graph import Graph
from service.web.app import create_app
from service.web.contract.operations import OPERATIONS
from service.web.edge import OPEN_TO_ALL, Edge, _is_slow
from service.web.keys import new_key
from service.web.limits import WINDOW_S, Quotas, Work
from service.web.outgoing import HEADERS, SOMETIMES, accepts_gzip
from service.web.retiring import Retirement
from service.web.settings import Settings
from service.web.trace import trace_of

SCREEN = {"observations": []}
Client = TestClient[Any]


@contextmanager
def running(graph: Graph, settings: Settings) -> Iterator[Client]:
    with TestClient(create_app(graph, settings)) as client:
        yield client


@pytest.fixture
def keyed(graph: Graph, tmp_path: Path) -> Iterator[tuple[Client, dict[str, str]]]:
    key, text = new_key("desk")
    file = tmp_path / "keys.toml"
    file.write_text(text + "per_minute = 3\n")
    with running(graph, Settings(keys_file=str(file))) as client:
        yield client, {"Authorization": f"Bearer {key}"}


@pytest.mark.parametrize("path", ["/livez", "/v1/about", "/nothing/here", "/v1/catalog/drills"])
def test_every_answer_carries_every_common_header(client: Client, path: str) -> None:
    answer = client.get(path)
    for name in HEADERS:
        assert answer.headers[name], name
    assert answer.headers["cache-control"]


def test_the_trace_of_a_caller_goes_on(client: Client) -> None:
    trace = "0af7651916cd43dd8448eb211c80319c"
    answer = client.get("/livez", headers={"traceparent": f"00-{trace}-b7ad6b7169203331-01"})
    version, same, span, flags = answer.headers["traceresponse"].split("-")
    assert (version, same, flags) == ("00", trace, "01")
    assert len(span) == 16 and span != "b7ad6b7169203331"


@pytest.mark.parametrize(
    "parent",
    [
        b"",
        b"00-00000000000000000000000000000000-b7ad6b7169203331-01",
        b"00-0af7651916cd43dd8448eb211c80319c-0000000000000000-01",
        b"ff-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01",
        b"00-0AF7651916CD43DD8448EB211C80319C-b7ad6b7169203331-01",
        b"00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01-more",
        b"00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01\n",
    ],
)
def test_a_trace_that_is_not_valid_begins_anew(parent: bytes) -> None:
    found = trace_of(parent)
    assert found.trace not in parent.decode() and len(found.trace) == 32


def test_a_later_version_of_the_trace_is_read_as_far_as_known() -> None:
    found = trace_of(b"cc-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-ff-more")
    assert (found.trace, found.flags) == ("0af7651916cd43dd8448eb211c80319c", "01")


def test_large_answers_are_compressed_for_those_who_ask(client: Client) -> None:
    plain = client.get("/v1/catalog/drills", headers={"Accept-Encoding": "identity"})
    packed = client.get("/v1/catalog/drills", headers={"Accept-Encoding": "gzip"})
    assert "content-encoding" not in plain.headers
    assert packed.headers["content-encoding"] == "gzip"
    assert packed.content == plain.content
    assert int(packed.headers["content-length"]) * 3 < len(plain.content)
    assert "accept-encoding" in packed.headers["vary"].lower()
    assert packed.headers["etag"] == "W/" + plain.headers["etag"]
    again = client.get("/v1/catalog/drills", headers={"If-None-Match": packed.headers["etag"]})
    assert again.status_code == 304


def test_small_answers_and_refusals_are_not_compressed(client: Client) -> None:
    for path in ("/livez", "/nothing"):
        assert "content-encoding" not in client.get(path).headers


@pytest.mark.parametrize(
    ("header", "allowed"),
    [
        (b"gzip", True),
        (b"br, gzip;q=0.5", True),
        (b"gzip;q=1.0", True),
        (b"gzip;q=0", False),
        (b"gzip;q=0.000", False),
        (b"br", False),
        (b"", False),
        (b"gzipped", False),
    ],
)
def test_gzip_is_used_only_where_it_is_allowed(header: bytes, allowed: bool) -> None:
    assert accepts_gzip(header) is allowed


def test_without_a_key_only_the_open_paths_answer(keyed: tuple[Client, dict[str, str]]) -> None:
    client, _ = keyed
    for operation in OPERATIONS:
        path = operation.path.replace("{type}", "not-found").replace("{", "").replace("}", "")
        answer = client.request(operation.method, path)
        assert (answer.status_code != 401) is operation.is_open, path
    assert client.get("/nothing").status_code == 401
    assert set(OPEN_TO_ALL) <= {operation.path for operation in OPERATIONS if operation.is_open}


@pytest.mark.parametrize(
    "header", ["", "Bearer", "Bearer ", "Bearer mw_wrong", "Basic eDp5", "mw_x"]
)
def test_a_wrong_key_is_401_and_says_how(keyed: tuple[Client, dict[str, str]], header: str) -> None:
    client, _ = keyed
    answer = client.post("/v1/plan", json=SCREEN, headers={"Authorization": header})
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert answer.json()["type"] == "/problems/not-authorised"


def test_a_key_has_its_quota_and_is_told_what_is_left(
    keyed: tuple[Client, dict[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    client, headers = keyed
    monkeypatch.setattr(time, "time", lambda: 6_000.0)
    left = [client.get("/v1/about", headers=headers) for _ in range(4)]
    assert [answer.status_code for answer in left] == [200, 200, 200, 429]
    assert [answer.headers["ratelimit"] for answer in left] == [
        '"desk";r=2;t=60',
        '"desk";r=1;t=60',
        '"desk";r=0;t=60',
        '"desk";r=0;t=60',
    ]
    assert left[0].headers["ratelimit-policy"] == '"desk";q=3;w=60'
    assert left[3].headers["retry-after"] == "60"
    monkeypatch.setattr(time, "time", lambda: 6_060.0)
    assert client.get("/v1/about", headers=headers).status_code == 200


def test_quotas_count_over_all_workers() -> None:
    quotas = Quotas(workers=2)
    allowed = 0
    for turn in range(10):
        quotas.become(turn % 2)
        allowed += quotas.ask(7, 6, 120.0).allowed
    assert allowed == 6
    assert quotas.ask(8, 6, 120.0).remaining == 5
    assert quotas.ask(7, 6, 120.0 + WINDOW_S).remaining == 5


def test_origins_and_frames_are_closed_by_default(client: Client) -> None:
    asked = {"Origin": "https://app.example", "Access-Control-Request-Method": "POST"}
    for answer in (client.get("/livez", headers=asked), client.options("/v1/plan", headers=asked)):
        assert not [name for name in answer.headers if name.startswith("access-control")]
        assert answer.headers["x-frame-options"] == "DENY"
        assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]


def test_an_allowed_origin_may_call_and_another_may_not(graph: Graph) -> None:
    app, other = "https://app.example", "https://app.example.evil"
    with running(graph, Settings(allow_origins=(app,), allow_frames=(app,))) as client:
        asked = {"Origin": app, "Access-Control-Request-Method": "POST"}
        preflight = client.options("/v1/plan", headers=asked)
        assert preflight.status_code == 204
        assert preflight.headers["access-control-allow-origin"] == app
        assert "authorization" in preflight.headers["access-control-allow-headers"]
        answer = client.post("/v1/plan", json=SCREEN, headers={"Origin": app})
        assert answer.headers["access-control-allow-origin"] == app
        assert "Origin" in answer.headers["vary"]
        refused = client.post("/v1/plan", json=SCREEN, headers={"Origin": other})
        assert "access-control-allow-origin" not in refused.headers
        framed = client.get("/embed").headers
        assert f"frame-ancestors {app}" in framed["content-security-policy"]
        assert "x-frame-options" not in framed
        assert client.get("/v1/about").headers["x-frame-options"] == "DENY"


def test_a_retiring_route_says_since_when_and_until_when(graph: Graph) -> None:
    inner = create_app(graph)
    retirement = Retirement(
        deprecated=datetime(2026, 12, 1, tzinfo=UTC),
        sunset=datetime(2027, 6, 1, tzinfo=UTC),
        page="/docs/changes",
    )
    app = Edge(
        inner._inner,
        pack=graph.pack,
        settings=Settings(),
        running=inner.running,
        common=inner.common,
        body_limits={},
        retiring={"/v1/about": retirement},
    )
    with TestClient(app) as client:
        headers = client.get("/v1/about").headers
        assert headers["deprecation"] == "@1796083200"
        assert headers["sunset"] == "Tue, 01 Jun 2027 00:00:00 GMT"
        assert 'rel="deprecation"' in headers["link"]
        assert "deprecation" not in client.get("/livez").headers


def test_more_work_than_there_is_room_for_is_refused_at_once(graph: Graph) -> None:
    app = create_app(graph, Settings(max_work=1))
    with TestClient(app) as client:
        app.running.work._held = 1
        answer = client.post("/v1/plan", json=SCREEN)
        assert answer.status_code == 503
        assert answer.headers["retry-after"] == "1"
        assert answer.json()["type"] == "/problems/too-much-work"
        assert client.get("/livez").status_code == 200
        app.running.work._held = 0
        assert client.post("/v1/plan", json=SCREEN).status_code == 200
        assert 'movewright_shed_total{full="work"} 1' in client.get("/metrics").text


def test_work_takes_turns_in_order_and_counts_itself() -> None:
    async def scenario() -> list[int]:
        work, done = Work(3, 1), []

        async def one(number: int) -> None:
            async with work.turn():
                await asyncio.sleep(0)
                done.append(number)

        tasks = [asyncio.create_task(one(number)) for number in range(3)]
        await asyncio.sleep(0)
        assert work.is_full()
        await asyncio.gather(*tasks)
        assert not work.is_full()
        return done

    assert asyncio.run(scenario()) == [0, 1, 2]


def test_slow_work_counts_and_holds_up_no_decision() -> None:
    async def scenario() -> list[str]:
        work, done = Work(4, 1), []
        may_end = asyncio.Event()

        async def slow(name: str) -> None:
            async with work.slow_turn():
                await may_end.wait()
                done.append(name)

        async def quick() -> None:
            async with work.turn():
                done.append("quick")

        tasks = [asyncio.create_task(slow(name)) for name in ("first", "second")]
        await asyncio.sleep(0)
        assert work.is_full(slow=True) and not work.is_full()
        await quick()
        more = [asyncio.create_task(slow(name)) for name in ("third", "fourth")]
        await asyncio.sleep(0)
        assert work.is_full()
        may_end.set()
        await asyncio.gather(*tasks, *more)
        assert not work.is_full(slow=True)
        return done

    assert asyncio.run(scenario()) == ["quick", "first", "second", "third", "fourth"]


def test_half_of_the_work_may_be_slow_and_plans_are_taken_meanwhile(graph: Graph) -> None:
    app = create_app(graph)
    wanting = {**SCREEN, "options": {"include": ["firmness"]}}
    with TestClient(app) as client:
        assert client.post("/v1/plan", json=wanting).status_code == 200
        app.running.work._slow = 4
        assert client.post("/v1/plan", json=wanting).status_code == 503
        assert client.post("/v1/next-check", json=SCREEN).status_code == 503
        assert client.post("/v1/plan", json=SCREEN).status_code == 200


def test_a_draining_process_is_not_ready_and_closes_connections(graph: Graph) -> None:
    app = create_app(graph)
    with TestClient(app) as client:
        assert client.get("/readyz").status_code == 200
        app.running.life.draining = True
        answer = client.get("/readyz")
        assert answer.status_code == 503 and answer.json()["type"] == "/problems/not-ready"
        assert client.get("/livez").headers["connection"] == "close"
        assert client.post("/v1/plan", json=SCREEN).status_code == 200


def test_security_contact_is_served_where_it_is_set(client: Client, graph: Graph) -> None:
    assert client.get("/.well-known/security.txt").status_code == 404
    with running(graph, Settings(security_contact="mailto:security@gym.example")) as set_up:
        answer = set_up.get("/.well-known/security.txt")
        assert answer.text.startswith("Contact: mailto:security@gym.example\nExpires: ")
        assert answer.headers["content-type"] == "text/plain; charset=utf-8"


def test_the_api_catalogue_leads_to_what_exists(client: Client) -> None:
    answer = client.get("/.well-known/api-catalog")
    assert answer.headers["content-type"].startswith("application/linkset+json")
    (links,) = answer.json()["linkset"]
    for relation in ("service-desc", "service-meta", "status"):
        for target in links[relation]:
            assert client.get(target["href"]).status_code == 200


def test_options_names_the_methods_of_a_path(client: Client) -> None:
    answer = client.options("/v1/plan")
    assert answer.status_code == 204
    assert "POST" in answer.headers["allow"]


def test_every_header_stands_in_the_guide() -> None:
    guide = (Path(__file__).parents[2] / "docker" / "OPERATING.md").read_text()
    for name, words in {**HEADERS, **SOMETIMES}.items():
        assert f"`{name}`" in guide, name
        assert words, name


def test_gzip_is_the_same_bytes_every_time(client: Client) -> None:
    asked = {"Accept-Encoding": "gzip"}
    with client.stream("GET", "/v1/catalog/drills", headers=asked) as one:
        first = b"".join(one.iter_raw())
    with client.stream("GET", "/v1/catalog/drills", headers=asked) as two:
        second = b"".join(two.iter_raw())
    assert first == second
    assert gzip.decompress(first).startswith(b'{"items":')


@pytest.mark.parametrize(
    ("path", "body", "accept", "slow"),
    [
        ("/v1/plan", b'{"options":{"include":[]}}', b"", False),
        ("/v1/plan", b'{"options": {"include" : [ ]}}', b"*/*", False),
        ("/v1/plan", b'{"options":{"include":["firmness"]}}', b"", True),
        ("/v1/plan", b'{"options":{"include" : [\n"firmness"]}}', b"", True),
        ("/v1/plan", b"{}", b"application/pdf", True),
        ("/v1/validate", b'{"options":{"include":["firmness"]}}', b"", False),
        ("/v1/review", b"{}", b"", True),
    ],
)
def test_what_asks_for_much_work_goes_the_slow_way(
    path: str, body: bytes, accept: bytes, slow: bool
) -> None:
    assert _is_slow(path, bytearray(body), accept) is slow
