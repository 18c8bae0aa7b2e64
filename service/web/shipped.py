"""The published contract and the example screens, read from the package that carries them."""

from collections.abc import Mapping
from importlib import resources
from importlib.resources.abc import Traversable

FOLDER = "openapi"
"""Installed beside this project's packages; read as data, never imported."""


def contract_file() -> Traversable:
    """Where the committed contract lies."""
    return resources.files(FOLDER).joinpath("openapi.json")


def examples() -> Mapping[str, bytes]:
    """Name -> bytes of every example screen, in alphabetical order."""
    folder = resources.files(FOLDER).joinpath("examples")
    files = sorted(
        (file for file in folder.iterdir() if file.name.endswith(".json")),
        key=lambda file: file.name,
    )
    return {file.name.removesuffix(".json"): file.read_bytes() for file in files}
