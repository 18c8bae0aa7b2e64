"""`python -m service.compiler [folder]`: every fault of a pack, without starting anything."""

import sys
from pathlib import Path

from service.compiler.compile import compile_pack
from service.compiler.report import as_lines
from service.model.errors import PackError


def main(arguments: list[str]) -> int:
    """Return 0 for a pack without faults and 1 otherwise, having printed what was found."""
    try:
        graph = compile_pack(Path(arguments[0]) if arguments else None)
    except PackError as error:
        print(as_lines(error.faults))
        return 1
    print(f"{graph.pack.name} {graph.pack.version} {graph.pack.digest}")
    return 0


sys.exit(main(sys.argv[1:]))
