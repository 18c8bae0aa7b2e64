"""Faults read as one line each for a person, and as JSON for software."""

import json

from service.compiler.report import as_json, as_lines
from service.model.errors import PackError, PackFault

LATER = PackFault(
    file="kit/kit.toml", record="mat", field="name", check="wording", wrong="is odd", do="mend it"
)
EARLIER = PackFault(
    file="kit/bands.toml", record="", field="", check="shape", wrong="is not TOML", do="mend it"
)


def test_lines_are_sorted_and_counted() -> None:
    assert as_lines([LATER, EARLIER]).splitlines() == [
        "kit/bands.toml: (file): is not TOML; mend it [shape]",
        "kit/kit.toml: mat, `name`: is odd; mend it [wording]",
        "2 faults",
    ]
    assert as_lines([EARLIER]).endswith("1 fault")
    assert as_lines([]) == "no faults"


def test_json_names_every_part() -> None:
    first, second = json.loads(as_json([LATER, EARLIER]))
    assert first["file"] == "kit/bands.toml"
    assert second == {
        "file": "kit/kit.toml",
        "record": "mat",
        "field": "name",
        "check": "wording",
        "wrong": "is odd",
        "do": "mend it",
    }


def test_the_error_carries_all_faults_in_its_text() -> None:
    said = str(PackError((EARLIER, LATER)))
    assert "2 faults" in said
    assert str(EARLIER) in said
    assert str(LATER) in said
