"""The contract is true: it is what is committed, what is mounted, and what is bounded."""

import os
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest

from service.engine.plan import plan
from service.model.graph import Graph
from service.web.app import framework_app
from service.web.contract.document import contract_bytes
from service.web.contract.operations import OPERATIONS, PAGES
from service.web.contract.words import WORDS
from service.web.problems import PROBLEMS
from service.web.settings import Settings
from service.web.shipped import contract_file

Schema = dict[str, Any]


@pytest.fixture(scope="module")
def contract() -> Schema:
    found: Schema = msgspec.json.decode(contract_file().read_bytes())
    return found


def reached(contract: Schema, name: str) -> set[str]:
    """Names of the component schemas that a schema leads to, itself included."""
    found, todo = set(), [name]
    while todo:
        here = todo.pop()
        if here not in found:
            found.add(here)
            todo += [ref.rsplit("/", 1)[1] for ref in refs(contract["components"]["schemas"][here])]
    return found


def refs(node: object) -> Iterator[str]:
    if isinstance(node, dict):
        if isinstance(node.get("$ref"), str):
            yield node["$ref"]
        for inner in node.values():
            yield from refs(inner)
    elif isinstance(node, list):
        for inner in node:
            yield from refs(inner)


def nodes(node: object) -> Iterator[Schema]:
    if isinstance(node, dict):
        yield node
        for key, inner in node.items():
            if key not in ("default", "enum"):
                yield from nodes(inner)
    elif isinstance(node, list):
        for inner in node:
            yield from nodes(inner)


def test_the_committed_file_is_what_the_structs_say() -> None:
    assert contract_file().read_bytes() == contract_bytes(), "run `movewright contract --write`"


@pytest.mark.parametrize("seed", ["0", "4711"])
def test_the_contract_is_the_same_bytes_under_every_hash_seed(seed: str) -> None:
    written = subprocess.run(
        [sys.executable, "-m", "service", "contract"],
        env={**os.environ, "PYTHONHASHSEED": seed},
        capture_output=True,
        check=True,
    ).stdout
    assert written == contract_bytes()


def test_every_mounted_route_is_documented_and_nothing_else(graph: Graph, contract: Schema) -> None:
    mounted = {
        (route.path_format, method.lower())
        for route in framework_app(graph, Settings(), plan).routes
        for method in route.methods
        if method not in ("HEAD", "OPTIONS")
        and not route.path_format.startswith(PAGES)
        and route.path_format != "/"
    }
    documented = {(path, method) for path, row in contract["paths"].items() for method in row}
    assert documented == mounted
    assert [row.path for row in OPERATIONS] == sorted(contract["paths"])


def test_every_operation_has_its_words_and_statuses(contract: Schema) -> None:
    ids = []
    for path, row in contract["paths"].items():
        for method, operation in row.items():
            ids.append(operation["operationId"])
            assert operation["summary"] and operation["description"] and operation["tags"]
            wanted = {"200", "400", "405", "406", "500"}
            wanted |= {"413", "415", "422"} if method == "post" else set()
            wanted |= {"404"} if "{" in path else set()
            assert wanted <= set(operation["responses"])
    assert len(ids) == len(set(ids))
    for status, response in contract["components"]["responses"].items():
        assert list(response["content"]) == ["application/problem+json"], status
    documented = {int(name.removeprefix("Status")) for name in contract["components"]["responses"]}
    assert documented == {kind.status for kind in PROBLEMS.values()}


def test_everything_a_caller_may_send_is_closed_and_bounded(contract: Schema) -> None:
    for name in reached(contract, "Screen"):
        schema = contract["components"]["schemas"][name]
        assert schema["additionalProperties"] is False, name
        for node in nodes(schema["properties"]):
            kind = node.get("type")
            if kind == "string":
                assert "maxLength" in node, (name, node)
            if kind == "array":
                assert "maxItems" in node, (name, node)
            if kind in ("integer", "number"):
                assert {"minimum", "maximum"} <= set(node), (name, node)


def test_every_field_of_an_answer_is_required(contract: Schema) -> None:
    for name in reached(contract, "Answer") | reached(contract, "Problem"):
        schema = contract["components"]["schemas"][name]
        assert set(schema["required"]) == set(schema["properties"]), name


def test_every_number_says_what_it_is_and_every_word_is_used(contract: Schema) -> None:
    schemas = contract["components"]["schemas"]
    for name in reached(contract, "Answer") | reached(contract, "Screen"):
        for field, schema in schemas[name]["properties"].items():
            if any(node.get("type") in ("integer", "number") for node in nodes(schema)):
                assert schema.get("description"), f"{name}.{field}"
    for key in WORDS:
        name, field = key.split(".")
        assert schemas[name]["properties"][field]["description"] == WORDS[key]


def test_no_reference_of_the_contract_leads_nowhere(contract: Schema) -> None:
    for ref in set(refs(contract)):
        here: Any = contract
        for part in ref.removeprefix("#/").split("/"):
            here = here[part]
        assert here
