"""The graph holds every record that bears on a decision, and a picture shows one finding's part."""

import xml.etree.ElementTree as ET
from itertools import pairwise
from typing import Any

import msgspec
import pytest
from litestar.testing import TestClient

from service.model.graph import Graph
from service.web.graph import KINDS, PackGraph, graph_of
from service.web.pages.neighbourhood import WIDTH, draw
from tests.shipped import shipped_graph

Client = TestClient[Any]
SVG = "{http://www.w3.org/2000/svg}"
FINDINGS = tuple(shipped_graph().findings)


@pytest.fixture(scope="module")
def drawn(graph: Graph) -> PackGraph:
    return graph_of(graph)


def test_every_live_record_of_its_kinds_is_a_node_and_no_edge_hangs_loose(
    drawn: PackGraph, graph: Graph
) -> None:
    ids = [node.id for node in drawn.nodes]
    assert ids == sorted({f"{kind}/{name}" for kind in KINDS for name in getattr(graph, kind)})
    ends = {end for edge in drawn.edges for end in (edge.source, edge.target)}
    assert ends <= set(ids)
    keys = [(edge.source, edge.target, edge.kind, edge.record or "") for edge in drawn.edges]
    assert keys == sorted(set(keys))


def test_a_link_is_one_edge_with_its_largest_strength(drawn: PackGraph, graph: Graph) -> None:
    made = {edge.record: edge for edge in drawn.edges if edge.kind == "makes"}
    assert made.keys() == graph.links.keys()
    for link in graph.links.values():
        edge = made[link.id]
        assert (edge.source, edge.target) == (f"causes/{link.cause}", f"findings/{link.finding}")
        assert edge.weight == max(link.strengths.values())
    trained = {(e.source, e.target): e.weight for e in drawn.edges if e.kind == "trains"}
    for drill in graph.drills.values():
        for one in drill.trains:
            assert trained[f"drills/{drill.id}", f"causes/{one.cause}"] == one.effect
    assert all(edge.weight is None or 0 < edge.weight <= 1 for edge in drawn.edges)


def test_the_graph_is_served_and_is_no_kind(client: Client, drawn: PackGraph) -> None:
    answer = client.get("/v1/catalog/graph")
    assert answer.status_code == 200
    assert msgspec.json.decode(answer.content, type=PackGraph) == drawn
    assert client.get("/v1/catalog/graph/knee_in").status_code == 404
    kinds = [item["kind"] for item in client.get("/v1/catalog").json()["items"]]
    assert "graph" not in kinds


@pytest.mark.parametrize("name", FINDINGS)
def test_a_picture_names_every_cause_inside_its_frame(name: str, graph: Graph) -> None:
    picture = draw(graph.findings[name], graph)
    root = ET.fromstring(picture)
    height = int(root.attrib["height"])
    said = " ".join(text.text or "" for text in root.iter(f"{SVG}text"))
    told = root.findtext(f"{SVG}desc") or ""
    causes = {link.cause for link in graph.links.values() if link.finding == name}
    assert causes
    for cause in causes:
        assert graph.causes[cause].name in told
    boxes = [rect for rect in root.iter(f"{SVG}rect") if "stroke" in rect.attrib]
    assert len(boxes) == 1 + len(causes)
    assert "estimate" in said
    for text in root.iter(f"{SVG}text"):
        size = float(text.attrib.get("font-size", 14))
        right = float(text.attrib["x"]) + 0.62 * size * len(text.text or "")
        assert right <= WIDTH, text.text
        assert 0 < float(text.attrib["y"]) < height
    edges = sorted((float(b.attrib["y"]), float(b.attrib["height"])) for b in boxes[1:])
    assert all(y + h < after for (y, h), (after, _) in pairwise(edges))


def test_a_picture_loads_nothing_and_is_the_same_each_time(graph: Graph) -> None:
    picture = draw(graph.findings["knee_in"], graph)
    assert picture == draw(graph.findings["knee_in"], graph)
    for word in (b"<script", b"href", b"url(", b"<style", b"onload", b"foreignObject"):
        assert word not in picture


def test_a_picture_is_served_with_its_own_media_type_and_a_closed_policy(client: Client) -> None:
    path = "/v1/catalog/findings/knee_in/picture.svg"
    for accept in ("*/*", "image/svg+xml", "image/avif,image/*,*/*;q=0.8"):
        answer = client.get(path, headers={"Accept": accept})
        assert answer.status_code == 200, accept
        assert answer.headers["content-type"].startswith("image/svg+xml")
        assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    tag = answer.headers["etag"]
    assert client.get(path, headers={"If-None-Match": tag}).status_code == 304
    assert client.get(path, headers={"Accept": "application/json"}).status_code == 406
    missing = client.get("/v1/catalog/findings/knee/picture.svg")
    assert missing.status_code == 404
    assert missing.headers["content-type"] == "application/problem+json"


def test_a_line_is_thicker_the_stronger_the_link(graph: Graph) -> None:
    root = ET.fromstring(draw(graph.findings["knee_in"], graph))
    widths = [
        float(p.attrib["stroke-width"]) for p in root.iter(f"{SVG}path") if "C" in p.attrib["d"]
    ]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] > widths[-1]
