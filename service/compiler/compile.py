"""From a folder of records to a graph, or to every fault at once."""

import importlib.resources
from collections.abc import Iterable
from importlib.resources.abc import Traversable
from pathlib import Path

from service.compiler.checks import CHECKS, WHOLE_PACK_CHECKS
from service.compiler.checks.width import check_width
from service.compiler.draft import Draft
from service.compiler.freeze import freeze
from service.compiler.overlay import blame, lay, no_folder
from service.compiler.read import read_pack
from service.model.errors import PackError, PackFault, SettingError
from service.model.graph import Graph

SHIPPED = "knowledge"
"""Folder of the shipped pack, installed beside this project's packages; read, never imported."""


def shipped_pack() -> Traversable:
    """Return the folder of the shipped pack."""
    try:
        return importlib.resources.files(SHIPPED)
    except ModuleNotFoundError:
        raise SettingError(
            f"the shipped pack is missing: `{SHIPPED}` is not installed; install movewright again"
        ) from None


def compile_pack(
    root: Traversable | Path | None = None,
    *,
    overlay: Traversable | Path | None = None,
    whole_vocabulary: bool = True,
) -> Graph:
    """Return the compiled pack at `root`, or the shipped one; raise PackError with all faults.

    An `overlay` is a gym's own folder laid over it (see overlay.py); its faults are the pack's.
    Without `whole_vocabulary` a pack need not cover the contract's lists of ids nor hold every
    kind of rule: that is for small packs in tests, and nothing that serves asks for it.
    """
    draft, shape = read_draft(root, overlay=overlay)
    try:
        return compile_draft(draft, shape, whole_vocabulary=whole_vocabulary)
    except PackError as error:
        if overlay is None:
            raise
        faults = {blame(fault, overlay) for fault in error.faults}
        raise PackError(tuple(sorted(faults))) from None


def read_draft(
    root: Traversable | Path | None = None, *, overlay: Traversable | Path | None = None
) -> tuple[Draft, tuple[PackFault, ...]]:
    """Return the draft of a pack, an overlay on it, and every fault of form."""
    draft, shape = read_pack(shipped_pack() if root is None else root)
    if overlay is None:
        return draft, shape
    if not overlay.is_dir():
        raise PackError((no_folder(overlay),))
    laid = lay(draft, overlay)
    return laid.draft, (*shape, *laid.faults)


def compile_draft(
    draft: Draft, shape: Iterable[PackFault] = (), *, whole_vocabulary: bool = True
) -> Graph:
    """Return the graph of a draft; raise PackError with `shape` and the faults of every check."""
    checks = (*CHECKS, *WHOLE_PACK_CHECKS) if whole_vocabulary else CHECKS
    faults = {*shape, *(fault for check in checks for fault in check(draft))}
    if faults:
        raise PackError(tuple(sorted(faults)))
    graph = freeze(draft)
    wide = tuple(check_width(draft, graph))
    if wide:
        raise PackError(tuple(sorted(wide)))
    return graph
