"""A pack with more than fifty faults of more than twenty kinds: one run names every one of them."""

from pathlib import Path

import pytest

from service.compiler import compile_pack
from service.model.errors import PackError, PackFault
from service.model.graph import Graph
from tests.compiler.planted import Planted, plant_all


def reported(planted: Planted, faults: tuple[PackFault, ...]) -> bool:
    return any(
        planted.file in ("", fault.file)
        and fault.record == planted.record
        and planted.field in ("", fault.field)
        and planted.says in f"{fault.wrong}; {fault.do}"
        and fault.do
        for fault in faults
    )


@pytest.mark.parametrize("seed", [3, 17, 2026])
def test_one_run_names_every_planted_fault_with_file_record_field_and_remedy(
    seed: int, tmp_path: Path, graph: Graph
) -> None:
    planted = plant_all(tmp_path / "pack", seed, graph)
    print(f"seed {seed}", *planted, sep="\n")
    assert len(planted) >= 50
    assert len({one.name for one in planted}) >= 20
    with pytest.raises(PackError) as refused:
        compile_pack(tmp_path / "pack")
    faults = refused.value.faults
    missed = [str(one) for one in planted if not reported(one, faults)]
    assert not missed, "\n".join([*missed, "---", *map(str, faults)])
    assert list(faults) == sorted(set(faults))
    assert all(fault.file and fault.wrong and fault.do for fault in faults)


def test_no_record_is_blamed_that_has_nothing_to_do_with_a_planted_fault(
    tmp_path: Path, graph: Graph
) -> None:
    planted = plant_all(tmp_path / "pack", 5, graph)
    print("seed 5", *planted, sep="\n")
    touched = {one.record for one in planted} | {one.file for one in planted}
    with pytest.raises(PackError) as refused:
        compile_pack(tmp_path / "pack")
    for fault in refused.value.faults:
        words = f"{fault.record} {fault.file} {fault.wrong}"
        assert any(name and name in words for name in touched) or "retired" in words, fault
