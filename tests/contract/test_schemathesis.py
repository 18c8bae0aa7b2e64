"""The running service keeps the committed contract: every check, every phase, no failure.

The same by hand, against a service that runs:
`schemathesis run http://127.0.0.1:8000/openapi.json`
"""

import json
import re
import subprocess
import sys
from pathlib import Path

from service.web.contract.operations import OPERATIONS
from service.web.keys import new_key
from service.web.shipped import contract_file
from tests.contract.running import service
from tests.strategies import TIMES

SEED = 20261125
EXAMPLES = 60 * TIMES
EXAMPLES_WITH_KEY = 20 * TIMES


def run(url: str, contract: Path, examples: int, folder: Path, *more: str) -> str:
    print(f"seed {SEED}")
    command = [
        str(Path(sys.executable).with_name("schemathesis")),
        *("run", str(contract.resolve()), "--url", url),
        *("--checks", "all", "--phases", "examples,coverage,fuzzing,stateful"),
        *("--max-examples", str(examples), "--seed", str(SEED), "--no-color", *more),
    ]
    ran = subprocess.run(command, capture_output=True, text=True, cwd=folder, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    cases = re.search(r"(\d+) generated, (\d+) passed", ran.stdout)
    assert cases, ran.stdout
    assert " failed" not in ran.stdout
    assert f"{len(OPERATIONS)} selected / {len(OPERATIONS)} total" in ran.stdout
    return ran.stdout


def test_the_service_keeps_its_contract(tmp_path: Path) -> None:
    with service(tmp_path) as running:
        run(running.url, Path(str(contract_file())), EXAMPLES, tmp_path)


def test_a_service_with_keys_demands_one_on_every_route_that_says_so(tmp_path: Path) -> None:
    key, entry = new_key("fuzzer")
    keys = tmp_path / "keys.toml"
    keys.write_text(entry)
    contract = json.loads(contract_file().read_bytes())
    # As committed a key is optional, for a service may run without; this one may not.
    assert contract["security"] == [{}, {"key": []}]
    contract["security"] = [{"key": []}]
    strict = tmp_path / "strict.json"
    strict.write_text(json.dumps(contract))
    with service(tmp_path, {"KEYS_FILE": str(keys)}) as running:
        header = ("--header", f"Authorization: Bearer {key}")
        run(running.url, strict, EXAMPLES_WITH_KEY, tmp_path, *header)
