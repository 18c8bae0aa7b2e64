"""Nothing that a caller sends is found again: a token in every field, sought everywhere."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from service.web.contract.operations import OPERATIONS
from service.web.shipped import contract_file
from tests.contract.running import exchange, service

CANARY = "canary7f3ae1"
Schema = dict[str, Any]


def contract() -> Schema:
    read: Schema = json.loads(contract_file().read_bytes())
    return read


def planted(schema: Schema, node: Schema, depth: int = 0) -> Any:
    """A value of a schema with the token in every string, list and open place."""
    node = resolved(schema, node)
    options = [resolved(schema, one) for one in node.get("anyOf", [])]
    if options:
        node = next(one for one in options if one.get("type") != "null")
    if "properties" in node:
        return {name: planted(schema, one, depth + 1) for name, one in node["properties"].items()}
    if node.get("type") == "array":
        return [planted(schema, node["items"], depth + 1)] if depth < 8 else []
    return CANARY


def resolved(schema: Schema, node: Schema) -> Schema:
    while "$ref" in node:
        node = schema["components"]["schemas"][node["$ref"].rsplit("/", 1)[1]]
    return node


def places(value: Any) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Every place of a body that is no object or list."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from (((key, *rest), leaf) for rest, leaf in places(inner))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from (((index, *rest), leaf) for rest, leaf in places(inner))
    else:
        yield (), value


def sent_bodies(schema: Schema, body: Schema) -> Iterator[bytes]:
    """The planted body, valid examples with one field replaced, and broken ones."""
    media = body["content"]["application/json"]
    whole = planted(schema, media["schema"])
    yield json.dumps(whole).encode()
    yield json.dumps(whole).encode()[:-1]
    for example in list(media["examples"].values())[:4]:
        value = example["value"]
        for place, _ in places(value):
            yield json.dumps(replaced(value, place)).encode()
        if isinstance(value, dict):
            yield json.dumps({**value, CANARY: CANARY}).encode()
            client = {**value.get("client", {}), "ref": CANARY}
            yield json.dumps({**value, "client": client, "kit": [CANARY]}).encode()


def replaced(value: Any, place: tuple[Any, ...]) -> Any:
    if not place:
        return CANARY
    copy = dict(value) if isinstance(value, dict) else list(value)
    copy[place[0]] = replaced(value[place[0]], place[1:])
    return copy


def forms() -> Iterator[dict[str, str]]:
    """Forms of the touch page with the token in one field each, and in the draft."""
    fields = {"draft": "{}", "at": "age", "asked": "yes", "go": "next", "age": "40"}
    for name in (*fields, "language", CANARY):
        yield {**fields, name: CANARY}
    yield {**fields, "draft": json.dumps({"answers": {"age": [CANARY], CANARY: [CANARY]}})}


@pytest.mark.parametrize("log", ["requests", "faults"])
def test_no_token_is_found_again(tmp_path: Path, log: str) -> None:
    schema = contract()
    before = set(tmp_path.rglob("*"))
    headers = dict.fromkeys(("User-Agent", "Cookie", "X-Request-Id", "Authorization"), CANARY)
    headers |= {"traceparent": CANARY, "If-None-Match": f'"{CANARY}"', "Referer": CANARY}
    sent = 0
    with (
        service(tmp_path, {"LOG": log}) as running,
        httpx.Client(base_url=running.url, timeout=60.0) as client,
    ):
        for operation in OPERATIONS:
            row = schema["paths"][operation.path][operation.method]
            path = operation.path.replace("{", "").replace("}", "")
            for name in ("kind", "record", "type", "name", "id"):
                path = path.replace(f"/{name}", f"/{CANARY}") if "{" in operation.path else path
            client.request(operation.method, path, headers=headers)
            client.get(f"{path}?{CANARY}={CANARY}", headers=headers)
            for body in sent_bodies(schema, row["requestBody"]) if "requestBody" in row else ():
                media = {**headers, "Content-Type": "application/json"}
                answer = client.post(path, content=body, headers=media)
                assert answer.status_code < 500, operation.path
                if answer.status_code >= 400:
                    assert CANARY not in answer.text
                sent += 1
        for path in ("/kiosk", "/embed"):
            for form in forms():
                answer = client.post(path, data=form, headers=headers)
                assert answer.status_code < 500, form
                sent += 1
        for raw in (
            b"\0",
            f"{CANARY} /{CANARY} HTTP/1.1\r\n\r\n".encode(),
            f"GET /{CANARY}".encode(),
        ):
            exchange(running.port, raw, within_s=15.0)
        assert CANARY not in client.get("/metrics").text
        environ = Path(f"/proc/{running.process.pid}/fd")
        for descriptor in environ.iterdir() if environ.is_dir() else ():
            kept = descriptor.readlink()
            assert CANARY not in kept.name
    assert sent > 200
    for file in {*tmp_path.rglob("*")} - before:
        assert CANARY.encode() not in file.read_bytes(), file
