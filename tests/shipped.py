"""The shipped pack, compiled once a process, for tests that need it before any fixture runs."""

from functools import cache

from service.compiler import compile_pack
from service.model.graph import Graph


@cache
def shipped_graph() -> Graph:
    return compile_pack()
