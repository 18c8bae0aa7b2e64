"""Golden cases run as data: what holds, what does not, what is written wrongly, what is idle."""

import json
from pathlib import Path

import pytest

from service.__main__ import main
from service.authoring.cases import read_cases
from service.authoring.coverage import coverage_of
from service.authoring.run import run_cases
from service.compiler import compile_pack
from service.model.errors import SettingError
from service.model.graph import Graph
from tests.golden import CASES

CASE = """[[cases]]
id = "heels_help"
says = "Heels raised cure it: the ankle leads."
origin = "bell-2008"
[cases.screen]
target = "squat"
[[cases.screen.observations]]
movement = "squat"
view = "front"
finding = "knee_in"
side = "both"
grade = "marked"
trials = [{ change = "heels_raised", result = "gone" }]
[cases.expect]
"""
HOLDS = CASE + 'leads = "ankle_dorsiflexion"\nabove = [["ankle_dorsiflexion", "hip_abductors"]]\n'
FAILS = CASE + 'leads = "hip_abductors"\nverdict = "refer"\n'


def folder(root: Path, **files: str) -> Path:
    (root / "cases").mkdir(exist_ok=True)
    for name, text in files.items():
        (root / "cases" / f"{name}.toml").write_text(text, encoding="utf-8")
    return root / "cases"


def test_the_projects_own_cases_hold(graph: Graph) -> None:
    report = run_cases(read_cases(CASES), graph)
    assert report.ok
    assert report.held == len(report.outcomes) >= 50
    assert [one.case for one in report.outcomes] == sorted(one.case for one in report.outcomes)


def test_a_case_that_does_not_hold_names_each_expectation(tmp_path: Path, graph: Graph) -> None:
    report = run_cases(read_cases(folder(tmp_path, one=FAILS)), graph)
    assert (report.ok, report.held, report.missed) == (False, 0, 1)
    (outcome,) = report.outcomes
    assert any(miss.startswith("verdict is ") for miss in outcome.misses)
    assert any(miss.startswith("hip_abductors does not lead") for miss in outcome.misses)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (
            'not_trains = ["hip_abductor.control"]',
            "names `hip_abductor.control`, which is no cause",
        ),
        ('no_drills = ["clams"]', "names `clams`, which is no drill of the pack; nearest: `clam`"),
        ('kit_not_used = ["mini_bands"]', "names `mini_bands`, which is no kit"),
        ('cautions = ["asthmas"]', "names `asthmas`, which is no caution"),
    ],
)
def test_a_name_that_the_pack_does_not_have_is_a_miss_even_where_it_is_forbidden(
    line: str, said: str, tmp_path: Path, graph: Graph
) -> None:
    report = run_cases(read_cases(folder(tmp_path, one=f"{CASE}{line}\n")), graph)
    assert any(miss.startswith(said) for miss in report.outcomes[0].misses)


def test_what_is_written_wrongly_is_named_all_at_once(tmp_path: Path) -> None:
    wrong = CASE.replace('grade = "marked"', 'grade = "strong"') + 'leader = "x"\n'
    cases = folder(tmp_path, a=wrong, b=HOLDS, c=HOLDS, d="[[cases]\n", e="[[rules]]\n")
    with pytest.raises(SettingError) as refused:
        read_cases(cases)
    lines = str(refused.value).splitlines()
    for words in (
        "a.toml: heels_help, screen.observations[0].grade: invalid enum value 'strong'",
        "a.toml: heels_help, expect.leader: no such field",
        "c.toml: heels_help, id: stands twice",
        "d.toml: is not TOML",
        "e.toml: `rules` does not belong here",
    ):
        assert any(line.startswith(words) for line in lines), (words, lines)


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="holds no case"):
        read_cases(folder(tmp_path))


def test_every_live_record_is_at_work_in_some_answer(graph: Graph) -> None:
    coverage = coverage_of(graph, ())
    idle = {kind.kind: set(kind.idle) for kind in coverage.kinds}
    del idle["sources"]
    assert not any(idle.values()), idle
    assert all(kind.by_cases == 0 for kind in coverage.kinds)


def test_a_record_that_nothing_uses_is_named(tmp_path: Path) -> None:
    overlay = tmp_path / "hall"
    (overlay / "kit").mkdir(parents=True)
    (overlay / "manifest.toml").write_text('name = "hall"\nversion = "1.0.0"\n')
    (overlay / "kit" / "own.toml").write_text(
        '[[kit]]\nid = "trampoline"\nname = "trampoline"\nstatus = "live"\n'
        'sources = ["practice"]\nchecked = 2026-11-25\n'
    )
    coverage = coverage_of(compile_pack(overlay=overlay), ())
    (kit,) = (kind for kind in coverage.kinds if kind.kind == "kit")
    assert "trampoline" in kit.idle
    assert not coverage.whole


def test_the_verb_says_by_its_exit_code_whether_all_hold(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cases = folder(tmp_path, one=HOLDS)
    assert main(["try", str(cases)]) == 0
    assert capsys.readouterr().out.startswith("1 cases hold, 0 do not")
    folder(tmp_path, one=FAILS)
    assert main(["try", str(cases)]) == 1
    assert "heels_help: does not hold" in capsys.readouterr().out
    assert main(["try", str(cases), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["missed"] == 1
    folder(tmp_path, one=CASE + 'leader = "x"\n')
    assert main(["try", str(cases)]) == 2
    assert "expect.leader: no such field" in capsys.readouterr().err
    assert main(["try"]) == 2


def test_coverage_by_cases_counts_what_their_answers_show(
    tmp_path: Path, graph: Graph, capsys: pytest.CaptureFixture[str]
) -> None:
    report = run_cases(read_cases(folder(tmp_path, one=HOLDS)), graph, coverage=True)
    assert report.coverage is not None
    by_cases = {kind.kind: kind.by_cases for kind in report.coverage.kinds}
    assert by_cases["findings"] == by_cases["changes"] == 1
    assert by_cases["alerts"] == 0
    assert 0 < by_cases["drills"] < len(graph.drills)
    main(["try", "--coverage"])
    said = capsys.readouterr().out
    assert "Live records at work in some answer" in said
