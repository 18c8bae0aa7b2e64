"""Every fault of a record is found, however it was broken: nothing unreadable passes unnamed."""

import random
import tomllib

import msgspec
import pytest

from service.compiler.decode import convert, faults_of
from service.model.knowledge import (
    CauseRecord,
    DrillRecord,
    FindingRecord,
    LinkRecord,
    MeasureRecord,
    Record,
)
from tests.compiler.packs import VALID

SEED = 20261125
KINDS: tuple[tuple[str, type[Record]], ...] = (
    ("causes", CauseRecord),
    ("drills", DrillRecord),
    ("findings", FindingRecord),
    ("links", LinkRecord),
    ("measures", MeasureRecord),
)
ODD = (None, True, -1, 10**6, 0.5, "", "No Such Id", [], [1], {}, {"odd": 1}, [{}], [[["x"]]])


@pytest.mark.parametrize(("kind", "wanted"), KINDS)
def test_what_cannot_be_converted_has_a_named_fault(kind: str, wanted: type[Record]) -> None:
    print(f"seed {SEED}")
    rng = random.Random(SEED)
    tables = tomllib.loads((VALID / kind / f"{kind}.toml").read_text())[kind]
    refused = 0
    for _ in range(400):
        raw = msgspec.json.decode(msgspec.json.encode(rng.choice(tables)))
        raw["checked"] = tables[0]["checked"]
        field = rng.choice([*raw, "unheard_of"])
        raw[field] = rng.choice(ODD)
        found = list(faults_of(raw, wanted))
        try:
            convert(raw, wanted)
        except msgspec.ValidationError:
            refused += 1
            assert found, (field, raw[field])
            assert all(at.split(".")[0].split("[")[0] == field for at, _ in found), found
        else:
            assert not found, (field, raw[field], found)
    assert refused > 100


def test_a_valid_record_has_no_faults() -> None:
    for kind, wanted in KINDS:
        for raw in tomllib.loads((VALID / kind / f"{kind}.toml").read_text())[kind]:
            assert list(faults_of(raw, wanted)) == []


def test_a_list_that_is_too_short_is_a_fault_of_the_list() -> None:
    raw = tomllib.loads((VALID / "drills" / "drills.toml").read_text())["drills"][0]
    raw["errors"] = raw["errors"][:1]
    ((field, wrong),) = faults_of(raw, DrillRecord)
    assert field == "errors"
    assert "length >= 2" in wrong
