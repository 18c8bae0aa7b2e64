"""The contract keeps its promises: what is added passes, and each planted break is named."""

import copy
from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from service.__main__ import main
from service.engine.plan import CONTRACT
from service.web.contract.additive import breaks, broken_promises, promises
from service.web.contract.document import contract_bytes
from service.web.contract.released import drift
from service.web.shipped import released

Contract = dict[str, Any]
NOW: Contract = msgspec.json.decode(contract_bytes())


def changed(change: Callable[[Contract], object]) -> Contract:
    new = copy.deepcopy(NOW)
    change(new)
    return new


def schema(contract: Contract, name: str) -> Contract:
    found: Contract = contract["components"]["schemas"][name]
    return found


def field(contract: Contract, name: str) -> Contract:
    kind, _, key = name.partition(".")
    found: Contract = schema(contract, kind)["properties"][key]
    return found


def plan_of(contract: Contract) -> Contract:
    found: Contract = contract["paths"]["/v1/plan"]["post"]
    return found


BREAKS: list[tuple[str, Callable[[Contract], object], str]] = [
    ("a route goes", lambda c: c["paths"].pop("/v1/about"), "GET /v1/about: is gone"),
    ("a name of a call changes", lambda c: plan_of(c).update(operationId="p"), "another operation"),
    ("a status goes", lambda c: plan_of(c)["responses"].pop("422"), "POST /v1/plan 422: is gone"),
    (
        "a media type goes",
        lambda c: c["paths"]["/v1/bulk/plan"]["post"]["requestBody"]["content"].pop(
            "application/x-ndjson"
        ),
        "no longer takes application/x-ndjson",
    ),
    (
        "an answer changes its form",
        lambda c: plan_of(c)["responses"]["200"].update(content={"text/plain": {}}),
        "POST /v1/plan 200: no longer application/json",
    ),
    (
        "a header goes",
        lambda c: plan_of(c)["responses"]["200"]["headers"].pop("Movewright-Pack"),
        "header `Movewright-Pack` is gone",
    ),
    (
        "a parameter is needed",
        lambda c: plan_of(c)["parameters"].append({"name": "q", "required": True}),
        "parameter `q` is needed",
    ),
    ("a field sent goes", lambda c: schema(c, "Screen")["properties"].pop("kit"), "Screen.kit"),
    (
        "a field sent is needed",
        lambda c: schema(c, "Screen").setdefault("required", []).append("minutes"),
        "Screen.minutes: is needed",
    ),
    (
        "a bound sent is narrower",
        lambda c: field(c, "Screen.kit").update(maxItems=1),
        "Screen.kit: maxItems",
    ),
    (
        "a value sent is refused",
        lambda c: field(c, "Observation.grade")["enum"].remove("mild"),
        "mild",
    ),
    (
        "a type sent is narrower",
        lambda c: field(c, "Measurement.value").update(type="integer"),
        "Measurement.value: type number instead of integer",
    ),
    (
        "a field read goes",
        lambda c: schema(c, "Answer")["properties"].pop("causes"),
        "Answer.causes",
    ),
    (
        "a field read may be missing",
        lambda c: schema(c, "Answer")["required"].remove("verdict"),
        "Answer.verdict: may be missing",
    ),
    (
        "a field read has another type",
        lambda c: field(c, "Session.minutes").update(type="string"),
        "Session.minutes: type",
    ),
    (
        "a field read may be null",
        lambda c: schema(c, "Answer")["properties"].update(
            causes={"anyOf": [field(c, "Answer.causes"), {"type": "null"}]}
        ),
        "Answer.causes: type null",
    ),
]


@pytest.mark.parametrize(
    ("change", "told"), [row[1:] for row in BREAKS], ids=[r[0] for r in BREAKS]
)
def test_a_planted_break_is_named(change: Callable[[Contract], object], told: str) -> None:
    found = breaks(NOW, changed(change))
    assert any(told in line for line in found), found


def test_the_same_contract_and_its_promises_break_nothing() -> None:
    kept = promises(NOW)
    assert isinstance(kept, dict)
    assert breaks(NOW, NOW) == breaks(kept, NOW) == ()
    assert "description" not in msgspec.json.encode(kept).decode().replace('"description":{', "")


def test_what_is_added_breaks_nothing() -> None:
    def add(contract: Contract) -> None:
        contract["paths"]["/v1/more"] = {"get": {"operationId": "more", "responses": {}}}
        schema(contract, "Screen")["properties"]["more"] = {"type": "string"}
        schema(contract, "Answer")["properties"]["more"] = {"type": "string"}
        schema(contract, "Answer")["required"].append("more")
        field(contract, "Observation.grade")["enum"].append("strong")
        field(contract, "Answer.verdict")["enum"].append("rest")
        field(contract, "Screen.kit")["maxItems"] += 1
        field(contract, "Screen.minutes").pop("maximum", None)

    assert breaks(NOW, changed(add)) == ()


def test_a_change_needs_a_higher_version_than_the_last_release() -> None:
    kept = {"1.0.0": promises(NOW)}

    def add(contract: Contract) -> None:
        schema(contract, "Answer")["properties"]["more"] = {"type": "string"}

    told = broken_promises(kept, changed(add))  # type: ignore[arg-type]
    assert told == ("1.0.0 is released and this differs: give it a higher version",)
    raised = changed(add)
    raised["info"]["version"] = "1.1.0"
    assert broken_promises(kept, raised) == ()  # type: ignore[arg-type]


def test_another_first_number_is_free_of_the_promises_of_the_last() -> None:
    new = changed(lambda c: c["paths"].pop("/v1/about"))
    assert broken_promises({"1.0.0": promises(NOW)}, new)  # type: ignore[dict-item]
    new["info"]["version"] = "2.0.0"
    assert broken_promises({"1.0.0": promises(NOW)}, new) == ()  # type: ignore[dict-item]


def test_this_contract_keeps_every_promise_and_is_itself_one() -> None:
    assert drift() == ()
    assert f"{CONTRACT}.json" in {f"{version}.json" for version in released()}


def test_the_versions_are_printed(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == 0
    service, contract, pack = capsys.readouterr().out.splitlines()
    assert service.split()[0] == "service"
    assert contract == f"contract {CONTRACT}"
    name, version, digest = pack.split()
    assert name == "pack" and version.count(".") == 2 and len(digest) == 64
