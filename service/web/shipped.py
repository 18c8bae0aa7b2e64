"""The published contract, the example screens and the files of pages, read from their packages."""

from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256
from importlib import resources
from importlib.resources.abc import Traversable

FOLDER = "openapi"
"""Installed beside this project's packages; read as data, never imported."""


def contract_file() -> Traversable:
    """Where the committed contract lies."""
    return resources.files(FOLDER).joinpath("openapi.json")


def examples(of: str = "") -> Mapping[str, bytes]:
    """Name -> bytes of every example screen, in alphabetical order.

    `of` names what else is sent, such as `series`: then the examples of that request.
    """
    folder = resources.files(FOLDER).joinpath("examples", of)
    files = sorted(
        (file for file in folder.iterdir() if file.name.endswith(".json")),
        key=lambda file: file.name,
    )
    return {file.name.removesuffix(".json"): file.read_bytes() for file in files}


@lru_cache(maxsize=1)
def assets() -> Mapping[str, bytes]:
    """Name -> bytes of every file that a page loads, in alphabetical order."""
    folder = resources.files("service.web").joinpath("assets")
    return {
        file.name: file.read_bytes()
        for file in sorted(folder.iterdir(), key=lambda file: file.name)
        if file.is_file() and not file.name.startswith((".", "_"))
    }


@lru_cache(maxsize=1)
def assets_version() -> str:
    """What names these files among all versions of them."""
    summed = sha256()
    for name, body in assets().items():
        summed.update(name.encode() + sha256(body).digest())
    return summed.hexdigest()[:12]


def asset(name: str) -> str:
    """The path under which a page loads a file and a browser may keep it for good."""
    if name not in assets():
        raise KeyError(name)
    return f"/assets/{assets_version()}/{name}"


def released_folder() -> Traversable:
    """Where a copy of every released contract lies, without its words."""
    return resources.files(FOLDER).joinpath("released")


def released() -> Mapping[str, bytes]:
    """Version -> bytes of every released contract, in order of their names."""
    folder = released_folder()
    files = sorted(folder.iterdir(), key=lambda file: file.name) if folder.is_dir() else []
    return {
        file.name.removesuffix(".json"): file.read_bytes()
        for file in files
        if file.name.endswith(".json")
    }
