"""The README's commands work on a fresh copy, and its outputs are today's."""

import shutil
import subprocess
import sys

from tests.readme import ROOT, answered, blocks, printed

TRACKED = ("service", "knowledge", "openapi", "pyproject.toml", "README.md", "LICENSE")


def test_there_are_exactly_two_set_up_commands_of_one_line() -> None:
    commands = blocks("sh")
    assert len(commands) == 2
    assert all(command.count("\n") == 1 for command in commands)
    assert all(command.startswith("python3 -m venv .venv && ") for command in commands)


def test_printed_plan_is_todays() -> None:
    assert blocks("text")[0].strip() == printed().strip(), "run `python -m tests.readme`"


def test_curls_answer_is_todays() -> None:
    assert blocks("json")[0] == answered(), "run `python -m tests.readme`"


def test_first_command_prints_the_plan_on_a_fresh_copy(tmp_path) -> None:  # type: ignore[no-untyped-def]
    for name in TRACKED:
        source = ROOT / name
        if source.is_dir():
            hidden = shutil.ignore_patterns("__pycache__")
            shutil.copytree(source, tmp_path / name, ignore=hidden)
        else:
            shutil.copy(source, tmp_path / name)
    command = blocks("sh")[0].replace("python3 ", f"{sys.executable} ", 1)
    done = subprocess.run(
        ["sh", "-euc", command], cwd=tmp_path, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == printed().strip()
