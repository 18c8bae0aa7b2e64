"""The README's blocks: what they hold, and what they should hold.

Apart from the test so that `python -m tests.readme` can write today's outputs into it.
"""

import json
import re
from pathlib import Path

import msgspec

from service.compiler import compile_pack
from service.engine.plan import plan
from service.model.screen import Screen
from service.web.pages.plain import render

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
FENCE = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(language: str) -> list[str]:
    """Return the bodies of all fences of a language, in order."""
    return [body for name, body in FENCE.findall(README.read_text()) if name == language]


def example_of(command: str) -> Path:
    """Return the example file that a command names."""
    found = re.search(r"openapi/examples/\w+\.json", command)
    assert found, command
    return ROOT / found.group()


def printed() -> str:
    """Return what the first command prints."""
    return render(_answer(example_of(blocks("sh")[0])))


def answered() -> str:
    """Return what the service answers to the curl, indented for reading."""
    curl = next(block for block in blocks("console") if block.startswith("curl"))
    encoded = msgspec.json.encode(_answer(example_of(curl)))
    return json.dumps(json.loads(encoded), indent=2, ensure_ascii=False) + "\n"


def _answer(example: Path):  # type: ignore[no-untyped-def]
    screen = msgspec.json.decode(example.read_bytes(), type=Screen)
    return plan(screen, compile_pack())


def write() -> None:
    """Put today's outputs into the README."""
    text = README.read_text()
    for language, body in (("text", printed()), ("json", answered())):
        text = re.sub(
            rf"^```{language}\n.*?^```$",
            lambda _, lang=language, new=body: f"```{lang}\n{new.rstrip()}\n```",
            text,
            count=1,
            flags=re.MULTILINE | re.DOTALL,
        )
    README.write_text(text)


if __name__ == "__main__":
    write()
