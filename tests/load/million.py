"""Many screens through shards of the bulk: one is killed and resumed, and every digest is equal.

Run: python -m tests.load.million [screens] [shards] [folder]

The same file is planned twice: in shards, the second of which is killed in the middle and started
again, and whole with as many workers as there are processors. A million takes an hour or more and
some tens of GB in the folder; answers are compared by their digests, line by line.
"""

import hashlib
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import msgspec

from tests.load.common import resident_mib
from tests.shipped import shipped_graph
from tests.strategies import random_screen


def write_screens(file: Path, count: int) -> None:
    """So many screens, all different."""
    graph = shipped_graph()
    with file.open("wb") as out:
        for seed in range(count):
            screen = random_screen(graph, seed, healthy=False)
            client = msgspec.structs.replace(screen.client, ref=f"c-{seed}")
            screen = msgspec.structs.replace(screen, client=client)
            out.write(msgspec.json.encode(screen) + b"\n")


def bulk(source: Path, folder: Path, shard: str, workers: int = 1) -> "subprocess.Popen[bytes]":
    """One shard, started."""
    command = [sys.executable, "-m", "service", "bulk", str(source), "--out", str(folder)]
    more = ("--shard", shard, "--workers", str(workers))
    return subprocess.Popen([*command, *more], stdout=subprocess.DEVNULL)


def finish(process: "subprocess.Popen[bytes]") -> None:
    """Wait for a shard."""
    if process.wait() != 0:
        raise SystemExit("a shard failed")


def kill_in_the_middle(source: Path, folder: Path, shard: str, share: int) -> str:
    """Start a shard, kill it once half of its lines are written, and say how far it was."""
    process = bulk(source, folder, shard)
    index, of = map(int, shard.split("/"))
    aside = folder / f"part-{index:05d}-of-{of:05d}.ndjson.partial"
    while not aside.is_file() or _lines(aside) < share // 2:
        if process.poll() is not None:
            raise SystemExit("the shard ended before it could be killed")
        time.sleep(0.2)
    held = resident_mib(process.pid)
    process.kill()
    process.wait()
    return f"killed after {_lines(aside)} lines, holding {held:.0f} MiB"


def _lines(file: Path) -> int:
    with file.open("rb") as opened:
        return sum(block.count(b"\n") for block in iter(lambda: opened.read(2**20), b""))


def answers(folder: Path) -> Iterator[bytes]:
    """Every answered line of a folder, in order, without the closing ones."""
    for file in sorted(folder.glob("*.ndjson")):
        with file.open("rb") as lines:
            yield from (line for line in lines if not line.startswith(b'{"summary"'))


def digest(folder: Path) -> str:
    """The digest of every answered line of a folder."""
    found = hashlib.sha256()
    for line in answers(folder):
        found.update(line)
    return found.hexdigest()


def check_manifests(folder: Path, count: int) -> None:
    """Every shard's manifest names the digest of its output, and they add up."""
    told = [json.loads(file.read_bytes()) for file in sorted(folder.glob("*.manifest.json"))]
    for one in told:
        with (folder / one["output"]).open("rb") as file:
            if hashlib.file_digest(file, "sha256").hexdigest() != one["output_sha256"]:
                raise SystemExit(f"{one['output']} is not what its manifest says")
    if sum(one["answers"] + one["problems"] for one in told) != count:
        raise SystemExit("the manifests do not add up")


def main() -> int:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    shards = int(sys.argv[2]) if len(sys.argv) > 2 else 4
    processors = os.cpu_count() or 1
    with tempfile.TemporaryDirectory(dir=sys.argv[3] if len(sys.argv) > 3 else None) as name:
        folder = Path(name)
        source, parts, whole = folder / "screens.ndjson", folder / "parts", folder / "whole"
        write_screens(source, count)
        print(f"{count} screens, {source.stat().st_size / 1e6:.0f} MB", flush=True)
        began = time.monotonic()
        print(kill_in_the_middle(source, parts, f"2/{shards}", count // shards), flush=True)
        finish(bulk(source, parts, f"2/{shards}"))
        rest = [f"{n}/{shards}" for n in range(1, shards + 1) if n != 2]
        while rest:
            running = [bulk(source, parts, shard) for shard in rest[:processors]]
            rest = rest[processors:]
            for process in running:
                finish(process)
        took = time.monotonic() - began
        print(f"{shards} shards, one killed and resumed: {took:.0f} s", flush=True)
        began = time.monotonic()
        finish(bulk(source, whole, "1/1", processors))
        took = time.monotonic() - began
        print(f"whole, {processors} workers: {took:.0f} s, {count / took:.0f} a second", flush=True)
        check_manifests(parts, count)
        check_manifests(whole, count)
        one, other = digest(parts), digest(whole)
        print(f"{one}\n{other}\n{'equal' if one == other else 'NOT EQUAL'}")
        return 0 if one == other else 1


if __name__ == "__main__":
    sys.exit(main())
