"""The guide names every check, its overlay compiles, and its golden case holds."""

import re
from pathlib import Path

from service.authoring.cases import read_cases
from service.authoring.run import run_cases
from service.compiler import compile_pack
from service.compiler.checks import CHECKS, WHOLE_PACK_CHECKS
from service.model.graph import Graph

GUIDE = (Path(__file__).parents[2] / "knowledge" / "GUIDE.md").read_text(encoding="utf-8")
FENCES = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)


def test_every_check_is_named(graph: Graph) -> None:
    names = {check.__module__.rpartition(".")[2] for check in (*CHECKS, *WHOLE_PACK_CHECKS)}
    part = GUIDE[GUIDE.index("## What the checks hold") : GUIDE.index("## What no check can check")]
    named = set(re.findall(r"`([a-z]+)`", part))
    assert names | {"width", "overlay"} == named


def test_the_overlay_of_the_guide_is_laid_as_it_stands_there(tmp_path: Path, graph: Graph) -> None:
    (tmp_path / "kit").mkdir()
    (tmp_path / "drills").mkdir()
    files = {
        "name = ": "manifest.toml",
        "[[kit]]": "kit/own.toml",
        "[[drills]]": "drills/own.toml",
    }
    for fence in FENCES:
        for start, name in files.items():
            if f"\n{start}" in fence.partition("\nid =")[0]:
                (tmp_path / name).write_text(fence, encoding="utf-8")
                break
    with_own = compile_pack(overlay=tmp_path)
    assert set(with_own.drills) - set(graph.drills) == {"sled_push_slow"}
    assert set(graph.drills) - set(with_own.drills) == {"clam_band"}


def test_the_golden_case_of_the_guide_holds(tmp_path: Path, graph: Graph) -> None:
    (fence,) = (fence for fence in FENCES if fence.startswith("[[cases]]"))
    (tmp_path / "guide.toml").write_text(fence, encoding="utf-8")
    report = run_cases(read_cases(tmp_path), graph)
    assert report.ok, report.outcomes
    assert report.held == 1
