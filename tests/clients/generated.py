"""Clients made from the committed contract, as the README says, and a service for them to call."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from service.web.shipped import contract_file
from tests.readme import blocks

HERE = Path(__file__).parent
WRITTEN_FOR = "http://127.0.0.1:8000"
"""Where the README's recipes call."""
NPM = {"openapi-fetch": "0.17.0", "openapi-typescript": "7.13.0", "typescript": "5.9.3"}
"""Exactly these; 7 of the types' maker wants 5 of the compiler."""
MEDIA = {"application/linkset+json": "application/json", "application/x-ndjson": "text/plain"}
"""Media types that the generator does not know, and what it may treat them as."""
STRICT = {
    "strict": True,
    "noUncheckedIndexedAccess": True,
    "exactOptionalPropertyTypes": True,
    "noImplicitReturns": True,
    "skipLibCheck": False,
    "target": "ES2022",
    "module": "NodeNext",
    "moduleResolution": "NodeNext",
    "lib": ["ES2022", "DOM", "DOM.Iterable"],
    "types": [],
    "noEmitOnError": True,
    "outDir": "out",
}


def run(command: Sequence[str], folder: Path, **environ: str) -> "subprocess.CompletedProcess[str]":
    """What a command in a folder did."""
    return subprocess.run(
        command,
        cwd=folder,
        env={**os.environ, **environ},
        capture_output=True,
        text=True,
        timeout=300,
    )


def succeed(command: Sequence[str], folder: Path, **environ: str) -> str:
    """What a command printed; its words if it failed."""
    ran = run(command, folder, **environ)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return ran.stdout


def recipe(language: str, url: str) -> str:
    """The README's recipe in a language, calling the service that runs here."""
    (text,) = blocks(language)
    assert text.count(WRITTEN_FOR) == 1
    return text.replace(WRITTEN_FOR, url)


def make_python_client(folder: Path) -> str:
    """Put the Python client into a folder; what the generator said."""
    made = Path(sys.executable).with_name("openapi-python-client")
    wanted = folder / "generator.json"
    names = {"project_name_override": "movewright-client", "post_hooks": []}
    media = {**MEDIA, "image/svg+xml": "text/plain"}
    wanted.write_text(json.dumps({**names, "content_type_overrides": media}))
    arguments = ("--path", str(contract_file()), "--meta", "none", "--config", str(wanted))
    into = str(folder / "movewright_client")
    return succeed([str(made), "generate", *arguments, "--output-path", into], folder)


def make_types(folder: Path) -> None:
    """Put the TypeScript types and what they need into a folder."""
    (folder / "package.json").write_text('{"private": true, "type": "module"}')
    (folder / "tsconfig.json").write_text(json.dumps({"compilerOptions": STRICT}))
    packages = [f"{name}@{version}" for name, version in NPM.items()]
    quiet = ("--no-save", "--no-package-lock", "--no-audit", "--no-fund", "--ignore-scripts")
    succeed(["npm", "install", *quiet, *packages], folder)
    made = str(folder / "node_modules/.bin/openapi-typescript")
    how = ("--default-non-nullable=false", "-o", "movewright.d.ts")
    succeed([made, str(contract_file()), *how], folder)


def missing_tools(*tools: str) -> str:
    """Why this cannot be tried here; empty where it can."""
    missing = [tool for tool in tools if shutil.which(tool) is None]
    return f"not installed: {', '.join(missing)}" if missing else ""
