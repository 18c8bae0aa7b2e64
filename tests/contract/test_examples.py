"""Every operation of the contract shows what to send, and where to go on from its answer."""

import re
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest

from service.web.shipped import contract_file

Node = dict[str, Any]
CONTRACT: Node = msgspec.json.decode(contract_file().read_bytes())


def operations() -> Iterator[tuple[str, Node]]:
    for path, methods in CONTRACT["paths"].items():
        for method, operation in methods.items():
            yield f"{method.upper()} {path}", operation


OPERATIONS = dict(operations())
BY_ID = {operation["operationId"]: operation for operation in OPERATIONS.values()}


def example_of(parameter: Node) -> object:
    return parameter.get("example", parameter.get("schema", {}).get("enum"))


@pytest.mark.parametrize("name", OPERATIONS)
def test_everything_that_is_sent_has_an_example(name: str) -> None:
    operation = OPERATIONS[name]
    for parameter in operation.get("parameters", []):
        assert example_of(parameter), parameter["name"]
    if "requestBody" in operation:
        content = operation["requestBody"]["content"]["application/json"]
        assert content["examples"]
        assert all("value" in example for example in content["examples"].values())


@pytest.mark.parametrize("name", OPERATIONS)
def test_every_link_leads_to_an_operation_that_takes_what_it_hands_on(name: str) -> None:
    for link in OPERATIONS[name]["responses"]["200"].get("links", {}).values():
        target = BY_ID[link["operationId"]]
        taken = {parameter["name"] for parameter in target.get("parameters", [])}
        needed = {p["name"] for p in target.get("parameters", []) if p.get("required")}
        given = set(link.get("parameters", {}))
        assert needed <= given <= taken
        assert ("requestBody" in link) == ("requestBody" in target)


def test_links_lead_from_the_lists_to_a_plan_and_back_to_the_records() -> None:
    reached, todo = set(), ["listExamples"]
    while todo:
        here = todo.pop()
        if here not in reached:
            reached.add(here)
            links = BY_ID[here]["responses"]["200"].get("links", {})
            todo += [link["operationId"] for link in links.values()]
    assert {"getExample", "makePlan", "findNextCheck", "validateScreen", "getRecord"} <= reached


def test_pointers_of_links_are_in_the_answers() -> None:
    """The first step of each pointer is a field of the answer's schema."""
    for operation in OPERATIONS.values():
        (content,) = list(operation["responses"]["200"]["content"].values())[:1]
        for link in operation["responses"]["200"].get("links", {}).values():
            for value in link.get("parameters", {}).values():
                found = re.match(r"\$response\.body#/(\w+)", value)
                if found:
                    name = content["schema"]["$ref"].rpartition("/")[2]
                    assert found[1] in CONTRACT["components"]["schemas"][name]["properties"]
