"""The route of landmarks: strict, bounded, never a 5xx, and its answer goes into a plan."""

from collections.abc import Iterator
from typing import Any

import msgspec
import pytest
from litestar.testing import TestClient

from service.model.landmarks import Clip, LandmarkAnswer
from service.web.contract.document import contract_bytes
from service.web.routes.landmarks import CLIP_BYTES
from tests.landmarks.figures import Body, Camera, clip_of, film
from tests.landmarks.pack import read

PATH = "/v1/landmarks"
JSON = {"content-type": "application/json"}
CLIP = clip_of(film(Body(knee_flexion=60.0, shin=20.0, swivel=(55.0, 0.0)), Camera(noise=1.0)))


def posted(client: TestClient[Any], body: bytes) -> Any:
    return client.post(PATH, content=body, headers=JSON)


def test_a_clip_is_answered_as_the_pure_function_answers_it(client: TestClient[Any]) -> None:
    found = posted(client, msgspec.json.encode(CLIP))
    assert found.status_code == 200
    assert found.content == msgspec.json.encode(read(CLIP))
    assert found.headers["cache-control"] == "no-store"


def test_what_a_clip_shows_can_be_planned_for(client: TestClient[Any]) -> None:
    seen = posted(client, msgspec.json.encode(CLIP)).json()
    assert {"finding": "knee_in", "side": "left", "grade": "marked"}.items() <= next(
        o for o in seen["observations"] if o["finding"] == "knee_in" and o["side"] == "left"
    ).items()
    screen = {"observations": seen["observations"], "measurements": seen["measurements"]}
    planned = client.post("/v1/plan", json=screen)
    assert planned.status_code == 200
    assert planned.json()["causes"]


def test_a_minute_at_sixty_frames_a_second_of_all_points_fits(client: TestClient[Any]) -> None:
    clip = clip_of(film(Body(), Camera(fps=60.0, noise=2.0)))
    frames = tuple(
        tuple(tuple(round(number or 0.0, 2) for number in point) for point in frame)
        for frame in (clip.frames * 6)[:3600]
    )
    body = msgspec.json.encode(msgspec.structs.replace(clip, frames=frames))
    assert len(frames) == 3600
    assert len(body) < CLIP_BYTES
    assert posted(client, body).status_code == 200


def test_a_body_beyond_the_limit_is_413(client: TestClient[Any]) -> None:
    body = msgspec.json.encode(CLIP)
    found = posted(client, body + b" " * (CLIP_BYTES - len(body) + 1))
    assert found.status_code == 413
    assert found.headers["content-type"] == "application/problem+json"


def test_too_many_frames_are_422(client: TestClient[Any]) -> None:
    body = b'{"movement":"squat","view":"front","layout":"coco17","fps":30,"frames":['
    found = posted(client, body + b",".join([b"[]"] * 3601) + b"]}")
    assert found.status_code == 422
    assert found.json()["errors"][0]["pointer"] == "/frames"


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"fps": 0}, "/fps"),
        ({"layout": "hand21"}, "/layout"),
        ({"frames": [[[1, 2]]]}, "/frames/0/0"),
        ({"frames": [[["1", 2, 3]]]}, "/frames/0/0/0"),
        ({"image": {"width": 1, "height": 100}}, "/image/width"),
        ({"extra": 1}, ""),
    ],
)
def test_what_is_not_the_schema_is_422_with_its_place(
    client: TestClient[Any], change: dict[str, object], pointer: str
) -> None:
    head = {"movement": "squat", "view": "front", "layout": "coco17", "fps": 30, "frames": []}
    found = posted(client, msgspec.json.encode({**head, **change}))
    assert found.status_code == 422
    assert [e["pointer"] for e in found.json()["errors"]] == [pointer]


def test_a_nan_is_no_json(client: TestClient[Any]) -> None:
    body = b'{"movement":"squat","view":"front","layout":"coco17","fps":30,"frames":[[[NaN,1,1]]]}'
    assert posted(client, body).status_code == 400


def test_whole_numbers_written_with_a_point_are_taken(client: TestClient[Any]) -> None:
    body = b'{"movement":"squat","view":"front","layout":"coco17","fps":30.0,"frames":[],'
    found = posted(client, body + b'"image":{"width":720.0,"height":1280}}')
    assert found.status_code == 200
    assert [w["code"] for w in found.json()["warnings"]] == ["no_frames"]


def test_a_clip_decodes_from_what_it_encodes() -> None:
    assert msgspec.json.decode(msgspec.json.encode(CLIP), type=Clip) == CLIP


def test_everything_in_a_clip_is_closed_and_bounded() -> None:
    _, schemas = msgspec.json.schema_components([Clip])
    assert set(schemas) == {"Clip", "ImageSize"}
    for name, schema in schemas.items():
        assert schema["additionalProperties"] is False, name
        for node in nodes(schema["properties"]):
            if node.get("type") == "array":
                assert "maxItems" in node, node
            if node.get("type") in ("integer", "number"):
                assert {"minimum", "maximum"} <= set(node), node


def nodes(node: object) -> Iterator[dict[str, Any]]:
    if isinstance(node, dict):
        yield node
        for inner in node.values():
            yield from nodes(inner)
    elif isinstance(node, list):
        for inner in node:
            yield from nodes(inner)


def test_every_number_of_the_route_says_what_it_is() -> None:
    _, schemas = msgspec.json.schema_components([Clip, LandmarkAnswer])
    described = msgspec.json.decode(contract_bytes())["components"]["schemas"]
    for name in schemas:
        for field, node in described[name]["properties"].items():
            if any(one.get("type") in ("integer", "number") for one in nodes(node)):
                assert node.get("description"), f"{name}.{field}"
