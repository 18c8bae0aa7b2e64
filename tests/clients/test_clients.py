"""Clients that others generate from the contract are typed strictly and work; so do the recipes."""

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.web.shipped import examples
from tests.clients.generated import (
    HERE,
    WRITTEN_FOR,
    make_python_client,
    make_types,
    missing_tools,
    recipe,
    run,
    succeed,
)
from tests.contract.running import Running, service
from tests.readme import ROOT, blocks

MYPY = [sys.executable, "-m", "mypy", "--strict", "--no-error-summary", "--cache-dir=.cache"]
PLANS = f"{len(examples())} plans\n"


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with service(tmp_path_factory.mktemp("service")) as found:
        yield found


@pytest.fixture(scope="module")
def python(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A folder with the Python client, and what its generator said."""
    folder = tmp_path_factory.mktemp("python")
    said = make_python_client(folder)
    shutil.copy(HERE / "programs" / "uses.py", folder)
    return folder, said


@pytest.fixture(scope="module")
def typescript(tmp_path_factory: pytest.TempPathFactory, running: Running) -> Path:
    """A folder with the types, the recipe and a program, compiled."""
    if why := missing_tools("node", "npm"):
        pytest.skip(why)
    folder = tmp_path_factory.mktemp("typescript")
    make_types(folder)
    shutil.copy(HERE / "programs" / "uses.ts", folder)
    (folder / "recipe.ts").write_text(recipe("ts", running.url))
    return folder


def test_the_generator_leaves_out_nothing_but_lines_that_are_sent(
    python: tuple[Path, str],
) -> None:
    warnings = [line for line in python[1].splitlines() if line.startswith("WARNING")]
    # Lines of JSON go in as an array too, which is what the client sends.
    assert warnings in ([], ["WARNING parsing POST /v1/bulk/plan within decide."])


def test_the_python_client_is_typed_strictly_and_works(
    python: tuple[Path, str], running: Running
) -> None:
    folder, _ = python
    succeed([*MYPY, "movewright_client", "uses.py"], folder)
    assert succeed([sys.executable, "uses.py", running.url], folder) == PLANS


def test_the_booking_apps_recipe_is_typed_strictly_and_works(
    python: tuple[Path, str], running: Running
) -> None:
    folder, _ = python
    (folder / "recipe.py").write_text(recipe("python", running.url))
    succeed([*MYPY, "recipe.py"], folder)
    printed = succeed([sys.executable, "recipe.py"], folder).splitlines()
    assert printed and all(" min " in line for line in printed)


def test_python_that_reads_what_is_not_there_is_caught(python: tuple[Path, str]) -> None:
    folder, _ = python
    (folder / "wrong.py").write_text(
        "from movewright_client.models import Answer\n\n\n"
        "def read(answer: Answer) -> str:\n    return answer.verdikt\n"
    )
    checked = run([*MYPY, "wrong.py"], folder)
    assert checked.returncode == 1 and "verdikt" in checked.stdout


def test_the_types_are_strict_and_both_programs_work(typescript: Path, running: Running) -> None:
    compiled = "node_modules/.bin/tsc"
    succeed([compiled, "-p", "."], typescript)
    assert succeed(["node", "out/uses.js", running.url], typescript) == PLANS
    summary, *steps = succeed(["node", "out/recipe.js"], typescript).splitlines()
    assert summary and steps and all(" min " in step for step in steps)


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ('const grade: Screen["observations"][number]["grade"] = "huge";', '"huge"'),
        ("const screen: Screen = { observations: [], minuts: 3 };", "minuts"),
        ("const screen: Screen = {};", "observations"),
    ],
)
def test_typescript_that_sends_what_is_not_taken_is_caught(
    typescript: Path, written: str, told: str
) -> None:
    wrong = typescript / "wrong.ts"
    wrong.write_text(
        'import type { components } from "./movewright.js";\n'
        'type Screen = components["schemas"]["Screen"];\n'
        f"export {written}\n"
    )
    checked = run(["node_modules/.bin/tsc", "-p", ".", "--noEmit"], typescript)
    wrong.unlink()
    assert checked.returncode != 0
    assert "wrong.ts" in checked.stdout and told in checked.stdout


CURLS = [block for block in blocks("console") if block.startswith("curl ")]


@pytest.mark.parametrize("command", CURLS, ids=range(len(CURLS)))
def test_every_curl_of_the_readme_is_answered(
    command: str, running: Running, tmp_path: Path
) -> None:
    if why := missing_tools("curl"):
        pytest.skip(why)
    assert WRITTEN_FOR in command
    ran = subprocess.run(
        [
            "sh",
            "-euc",
            command.replace(WRITTEN_FOR, running.url)
            .replace("curl -s", "curl -fs")
            .replace("-o card.html", f"-o {tmp_path}/card.html"),
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert ran.returncode == 0, ran.stderr
    if "-o card.html" in command:
        assert (tmp_path / "card.html").read_text().startswith("<!doctype html>")
        return
    answers = [json.loads(line) for line in ran.stdout.splitlines()]
    assert answers and not any("problem" in answer for answer in answers)
