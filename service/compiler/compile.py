"""From a folder of records to a graph, or to every fault at once."""

import importlib.resources
from importlib.resources.abc import Traversable
from pathlib import Path

from service.compiler.checks import CHECKS, WHOLE_PACK_CHECKS
from service.compiler.checks.width import check_width
from service.compiler.freeze import freeze
from service.compiler.read import read_pack
from service.model.errors import PackError
from service.model.graph import Graph

SHIPPED = "knowledge"
"""Folder of the shipped pack, installed beside this project's packages; read, never imported."""


def compile_pack(root: Traversable | Path | None = None, *, whole_vocabulary: bool = True) -> Graph:
    """Return the compiled pack at `root`, or the shipped one; raise PackError with all faults.

    Without `whole_vocabulary` a pack need not cover the contract's lists of ids nor hold every
    kind of rule: that is for small packs in tests, and nothing that serves asks for it.
    """
    draft, shape = read_pack(importlib.resources.files(SHIPPED) if root is None else root)
    checks = (*CHECKS, *WHOLE_PACK_CHECKS) if whole_vocabulary else CHECKS
    faults = {*shape, *(fault for check in checks for fault in check(draft))}
    if faults:
        raise PackError(tuple(sorted(faults)))
    graph = freeze(draft)
    wide = tuple(check_width(draft, graph))
    if wide:
        raise PackError(tuple(sorted(wide)))
    return graph
