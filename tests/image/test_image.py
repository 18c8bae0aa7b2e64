"""The image: built and run here on a stand-in base, small, closed, and gone when it is told to go.

Skipped, and it says why, where the tools are missing; `.ci/run` installs them.
"""

import hashlib
import json
import re
import shlex
import shutil
import socket
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from packaging.requirements import Requirement

from service.engine.plan import CONTRACT, plan
from service.model.graph import Graph
from service.model.screen import Options
from service.web.bench.mix import screens
from tests.contract.running import answer_on, exchange, free_port, wait_until_ready
from tests.golden import golden_cases
from tests.image.building import BASE, HEADERS, NAME, ROOT, Store, inside, missing_tools
from tests.strategies import random_screen, seeds

EXAMPLE = ROOT / "openapi" / "examples" / "left_knee_nothing_helps.json"
MOST_BYTES = 200 * 10**6
DIGESTS = """
import hashlib, sys, msgspec
from service.compiler import compile_pack
from service.engine import choose
from service.engine.plan import plan
from service.model.screen import Screen
print(choose.__file__)
graph = compile_pack()
for line in open(sys.argv[1], "rb"):
    answer = plan(msgspec.json.decode(line, type=Screen), graph)
    print(hashlib.sha256(msgspec.json.encode(answer)).hexdigest())
"""
"""Prints where the engine lies, and the digest of the answer to each screen of a file."""


class Image:
    """The image once it is built, unpacked in a folder."""

    def __init__(self, store: Store, versions: list[str]) -> None:
        self.store = store
        self.versions = versions
        self.root = store.unpack()
        self.config = store.config()
        environ = self.config["Env"]
        assert isinstance(environ, list)
        self.environ = [str(one) for one in environ]

    def run(self, *command: str, more: tuple[str, ...] = ()) -> "subprocess.CompletedProcess[str]":
        """What a command in the image does."""
        return subprocess.run(
            inside(self.root, (*self.environ, *more), *command),
            capture_output=True,
            text=True,
            timeout=120,
        )

    def start(self, *more: str) -> "subprocess.Popen[bytes]":
        """The entry point with its own command."""
        entry, command = self.config["Entrypoint"], self.config["Cmd"]
        assert isinstance(entry, list) and isinstance(command, list)
        told = inside(self.root, (*self.environ, *more), *map(str, (*entry, *command)))
        return subprocess.Popen(told, stderr=subprocess.DEVNULL)


@pytest.fixture(scope="module")
def image(tmp_path_factory: pytest.TempPathFactory, graph: Graph) -> Iterator[Image]:
    if why := missing_tools():
        pytest.skip(why)
    store = Store(tmp_path_factory.mktemp("image"))
    store.make_base()
    command = [sys.executable, "-m", "service", "--version"]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
    versions = [line.split()[1] for line in told]
    assert versions == [told[0].split()[1], CONTRACT, graph.pack.version]
    names = ("SERVICE_VERSION", "CONTRACT_VERSION", "PACK_VERSION")
    given = [f"{name}={version}" for name, version in zip(names, versions, strict=True)]
    began = time.monotonic()
    given.append(f"HEADERS={HEADERS}")
    store.build([part for one in given for part in ("--build-arg", one)])
    made = Image(store, versions)
    whole, base = store.size_bytes(NAME), store.size_bytes(BASE)
    print(
        f"built in {time.monotonic() - began:.0f} s: {whole / 1e6:.0f} MB, "
        f"{base / 1e6:.0f} MB of it the stand-in base"
    )
    yield made
    store.buildah("rm", "--all")


def test_it_is_small(image: Image) -> None:
    assert image.store.size_bytes(NAME) < MOST_BYTES


def test_it_says_what_it_is_and_how_to_run_it(image: Image) -> None:
    config = image.config
    assert config["User"] == "10001:10001"
    assert config["StopSignal"] == "SIGTERM"
    assert config["Entrypoint"] == ["movewright"] and config["Cmd"] == ["serve"]
    labels = config["Labels"]
    assert isinstance(labels, dict)
    service, contract, pack = image.versions
    assert labels["org.opencontainers.image.version"] == service
    assert labels["movewright.contract"] == contract and labels["movewright.pack"] == pack
    assert labels["org.opencontainers.image.licenses"] == "Apache-2.0"


def test_it_holds_the_service_and_nothing_that_builds(image: Image) -> None:
    programs = {file.name for file in (image.root / "opt" / "movewright" / "bin").iterdir()}
    assert "movewright" in programs and not programs & {"pip", "hatchling"}
    found = {file.name for file in (image.root / "opt").iterdir()}
    assert found == {"movewright"}
    assert not list((image.root / "tmp").iterdir())


def test_it_decides_as_here(image: Image) -> None:
    here = [sys.executable, "-m", "service", "plan", str(EXAMPLE), "--json"]
    told = subprocess.run(here, capture_output=True, text=True, check=True).stdout
    installed = "/opt/movewright/lib/python3.13/site-packages/openapi/examples/" + EXAMPLE.name
    assert image.run("movewright", "plan", installed, "--json").stdout == told


def test_its_compiled_engine_gives_the_bytes_that_the_source_gives(
    image: Image, graph: Graph
) -> None:
    seed = 90
    print("seed", seed)
    everything = Options(explain="full", include=("firmness", "next_checks", "turning_points"))
    asked = [case.screen for case in golden_cases()]
    asked += [msgspec.structs.replace(one, options=everything) for one in asked[::8]]
    for size in ("small", "typical", "full"):
        asked += screens(graph, size, 120, seed)
    asked += [random_screen(graph, n, healthy=n % 2 == 0) for n in seeds(seed, 200)]
    asked += screens(graph, "worst", 2, seed)
    # its root cannot be written from inside
    lent = image.root / "tmp" / "screens.ndjson"
    lent.write_bytes(b"".join(msgspec.json.encode(one) + b"\n" for one in asked))
    try:
        ran = image.run("python3", "-c", DIGESTS, "/tmp/screens.ndjson")
    finally:
        lent.unlink()
    assert ran.returncode == 0, ran.stderr
    engine, *told = ran.stdout.splitlines()
    assert engine.endswith(".so")
    here = [hashlib.sha256(msgspec.json.encode(plan(one, graph))).hexdigest() for one in asked]
    assert len(told) == len(here) > 600
    assert [n for n, pair in enumerate(zip(told, here, strict=True)) if len(set(pair)) > 1] == []


def test_it_serves_is_healthy_and_drains(image: Image) -> None:
    port = free_port()
    more = (f"MOVEWRIGHT_PORT={port}", "MOVEWRIGHT_OPEN_BEYOND_LOOPBACK=true")
    began = time.monotonic()
    process = image.start(*more)
    try:
        wait_until_ready(port, process)
        took_s = time.monotonic() - began
        screen = EXAMPLE.read_bytes()
        head = b"POST /v1/plan HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
        whole = head + b"Content-Length: %d\r\n\r\n%b" % (len(screen), screen)
        assert exchange(port, whole).startswith(b"HTTP/1.1 200")
        memory = Path(f"/proc/{process.pid}/status").read_text().partition("VmRSS:")[2]
        print(f"ready after {took_s:.2f} s, {int(memory.split()[0]) / 1024:.0f} MiB")
        health = image.config["Healthcheck"]
        assert isinstance(health, dict) and health["Test"][0] == "CMD"
        assert image.run(*health["Test"][1:], more=more).returncode == 0
        with socket.create_connection(("127.0.0.1", port), timeout=10) as connection:
            connection.sendall(b"GET /livez HTTP/1.1\r\nHost: x\r\n\r\n")
            assert answer_on(connection).startswith(b"HTTP/1.1 200")
            process.terminate()
            time.sleep(0.2)
            connection.sendall(whole)
            answer = answer_on(connection)
            assert answer.startswith(b"HTTP/1.1 200") and b"connection: close" in answer.lower()
        assert process.wait(timeout=30) == 0
        assert image.run(*health["Test"][1:], more=more).returncode != 0
    finally:
        process.kill()
        process.wait()


@pytest.mark.parametrize(
    ("more", "command", "says"),
    [
        ((), ("movewright", "serve"), "MOVEWRIGHT_KEYS_FILE"),
        (("MOVEWRIGHT_MAX_WORK=x",), ("movewright", "serve"), "MOVEWRIGHT_MAX_WORK"),
        ((), ("movewright", "serve", "--overlay", "/gym"), "`/gym` is no folder"),
        ((), ("movewright", "bulk", "/etc/hostname", "--out", "/plans"), "Read-only file system"),
    ],
    ids=["no keys", "a wrong setting", "a missing pack", "a read-only file system"],
)
def test_what_cannot_start_ends_with_one_line(
    image: Image, more: tuple[str, ...], command: tuple[str, ...], says: str
) -> None:
    ran = image.run(*command, more=more)
    assert ran.returncode == 2 and not ran.stdout
    assert says in ran.stderr and ran.stderr.count("\n") == 1


def test_a_label_that_does_not_say_what_is_inside_stops_the_build(image: Image) -> None:
    recipe = (ROOT / "docker" / "Dockerfile").read_text()
    found = re.search(r"^RUN (grep .+?)\n\n", recipe, re.MULTILINE | re.DOTALL)
    assert found
    names = ("SERVICE_VERSION", "CONTRACT_VERSION", "PACK_VERSION")
    right = tuple(f"{n}={v}" for n, v in zip(names, image.versions, strict=True))
    assert image.run("sh", "-c", found[1], more=right).returncode == 0
    for name in names:
        wrong = (*right, f"{name}=99.0.0")
        assert image.run("sh", "-c", found[1], more=wrong).returncode != 0, name


def test_the_documented_commands_list_what_is_inside(image: Image, tmp_path: Path) -> None:
    commands = [
        shlex.split(line.partition(" > ")[0])
        for line in (ROOT / "docker" / "OPERATING.md").read_text().splitlines()
        if line.startswith(("cyclonedx-py ", "docker run --rm --entrypoint"))
    ]
    (docker, bill) = commands
    within = docker[docker.index("--entrypoint") + 1 :]
    ran = image.run(within[0], *within[2:])
    assert ran.returncode == 0, ran.stderr
    installed = dict(line.split("==") for line in ran.stdout.splitlines())
    (tmp_path / "installed.txt").write_text(ran.stdout)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    bill[0] = str(Path(sys.executable).with_name("cyclonedx-py"))
    made = subprocess.run(bill, cwd=tmp_path, capture_output=True, text=True)
    assert made.returncode == 0, made.stderr
    text = (tmp_path / "sbom.json").read_text()
    assert JsonStrictValidator(SchemaVersion.V1_6).validate_str(text) is None
    listed = {one["name"]: one["version"] for one in json.loads(text)["components"]}
    assert listed == installed
    folder = image.root / "opt/movewright/lib/python3.13/site-packages"
    assert len(installed) == len(list(folder.glob("*.dist-info"))) - 1
    assert json.loads(text)["metadata"]["component"]["name"] == "movewright"


def test_what_goes_in_is_pinned_by_hash_and_fits_what_the_project_asks_for() -> None:
    pinned: dict[str, str] = {}
    for name in ("constraints.txt", "constraints-build.txt"):
        text = (ROOT / "docker" / name).read_text()
        assert "://" not in text
        for entry in re.split(r"\n(?=\w)", text.strip()):
            line, *hashes = entry.split(" \\\n")
            found = re.fullmatch(r"([\w.-]+)==([\w.]+)( ; .+)?", line)
            assert found, line
            assert hashes and all(re.match(r"\s+--hash=sha256:[0-9a-f]{64}$", h) for h in hashes)
            pinned[found[1]] = found[2]
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    compiling = project["tool"]["hatch"]["build"]["targets"]["wheel"]["hooks"]["mypyc"]
    asked = project["project"]["dependencies"] + project["build-system"]["requires"]
    asked += compiling["dependencies"]
    for requirement in map(Requirement, asked):
        assert requirement.specifier.contains(pinned[requirement.name]), requirement
