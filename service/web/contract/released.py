"""The contract against what is committed and what was released; the only place that writes either.

Apart from the comparison because here are the files.
"""

import json
from pathlib import Path

from service.engine.plan import CONTRACT
from service.web.contract.additive import broken_promises, promises
from service.web.contract.document import contract_bytes
from service.web.shipped import contract_file, released, released_folder


def drift() -> tuple[str, ...]:
    """What is wrong with the committed contract, a line each: it differs, or breaks a promise."""
    told = _broken()
    if contract_file().is_file() and contract_file().read_bytes() == contract_bytes():
        return told
    return (*told, "openapi/openapi.json differs: run `movewright contract --write`")


def write() -> None:
    """Put the contract of this code in its file."""
    Path(str(contract_file())).write_bytes(contract_bytes())


def release() -> tuple[str, ...]:
    """Keep a copy of the contract as a promise; what speaks against it, if anything does."""
    told = _broken()
    if not told:
        file = Path(str(released_folder())) / f"{CONTRACT}.json"
        file.parent.mkdir(exist_ok=True)
        kept = promises(json.loads(contract_bytes()))
        file.write_text(json.dumps(kept, indent=1, sort_keys=True) + "\n")
    return told


def _broken() -> tuple[str, ...]:
    kept = {version: json.loads(promised) for version, promised in released().items()}
    return broken_promises(kept, json.loads(contract_bytes()))
