"""Bulk from file to file: one shard of the input, with as many processes as asked for.

Output is written aside and renamed when it is whole, with a manifest beside it. A run that was
killed goes on after the last whole line that it wrote, if nothing of its input has changed.
"""

import hashlib
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

import msgspec
from msgspec import Struct

from service import __version__
from service.engine.plan import plan
from service.model.errors import SettingError
from service.model.graph import Graph
from service.web.bulk import Tally, answer_line, problem_line
from service.web.settings import Settings

CHUNK = 64
"""Lines that a process takes at a time."""
_READ = 2**20
Chunk = tuple[tuple[int, bytes | None], ...]
Written = tuple[tuple[bytes, bool], ...]


class Shard(Struct, frozen=True, kw_only=True):
    """Which part of the input: the `index`-th of `of`, by bytes, cut at the ends of lines."""

    index: int
    of: int


class Part(Struct, frozen=True, kw_only=True):
    """What was to be done: as long as this is equal, a run goes on where it was killed."""

    input_sha256: str
    """Of the bytes of this shard."""
    first_line: int
    begin: int
    end: int
    shard: int
    shards: int
    pack: str
    service: str


class Manifest(Struct, frozen=True, kw_only=True):
    """What a finished shard holds."""

    output: str
    output_sha256: str
    output_bytes: int
    answers: int
    problems: int
    part: Part


def run_shard(
    source: Path,
    folder: Path,
    shard: Shard,
    workers: int,
    graph: Graph,
    say: Callable[[str], None] | None = None,
) -> Manifest:
    """The manifest of a shard, after its output stands whole under its name.

    `say` is told how far it is, at most twice a second. The output is the same bytes for every
    number of workers, and whether or not the run was killed in between.
    """
    folder.mkdir(parents=True, exist_ok=True)
    name = f"part-{shard.index:05d}-of-{shard.of:05d}"
    whole, aside = folder / f"{name}.ndjson", folder / f"{name}.ndjson.partial"
    state, manifest = folder / f"{name}.state.json", folder / f"{name}.manifest.json"
    part = _part(source, shard, graph)
    if not (_holds(state, part) and aside.is_file()):
        aside.write_bytes(b"")
        _write(state, part)
    tally, digest, last = _kept(aside, part)
    lines = _chunks(source, part, last)
    with aside.open("ab") as out:
        for written in _answers(lines, workers, graph):
            for line, is_answer in written:
                tally.add(line, is_answer=is_answer)
                digest.update(line)
                out.write(line)
            out.flush()
            if say is not None:
                say(f"{tally.answers + tally.problems} lines answered")
        closing = tally.summary(graph.pack.digest)
        digest.update(closing)
        out.write(closing)
        out.flush()
        os.fsync(out.fileno())
    told = Manifest(
        output=whole.name,
        output_sha256=digest.hexdigest(),
        output_bytes=aside.stat().st_size,
        answers=tally.answers,
        problems=tally.problems,
        part=part,
    )
    aside.replace(whole)
    _write(manifest, told)
    state.unlink()
    return told


def _part(source: Path, shard: Shard, graph: Graph) -> Part:
    """Where the shard begins and ends, and the digest of what lies between."""
    size = source.stat().st_size
    with source.open("rb") as file:
        begin = _line_start(file, size * (shard.index - 1) // shard.of)
        end = _line_start(file, size * shard.index // shard.of)
        before = sum(block.count(b"\n") for block in _blocks(file, 0, begin))
        digest = hashlib.sha256()
        for block in _blocks(file, begin, end):
            digest.update(block)
    return Part(
        input_sha256=digest.hexdigest(),
        first_line=before + 1,
        begin=begin,
        end=end,
        shard=shard.index,
        shards=shard.of,
        pack=graph.pack.digest,
        service=__version__,
    )


def _line_start(file: BinaryIO, at: int) -> int:
    """The first start of a line at or after a place."""
    if at == 0:
        return 0
    file.seek(at - 1)
    file.readline()
    return file.tell()


def _blocks(file: BinaryIO, begin: int, end: int) -> Iterator[bytes]:
    file.seek(begin)
    left = end - begin
    while left > 0 and (block := file.read(min(_READ, left))):
        left -= len(block)
        yield block


def _kept(aside: Path, part: Part) -> tuple[Tally, "hashlib._Hash", int]:
    """Counts and digest of the whole lines written before, and the last line they answer.

    What follows the last whole line is cut off, and so is a summary: it is written again.
    """
    tally, digest, last, size = Tally(), hashlib.sha256(), part.first_line - 1, 0
    with aside.open("rb") as file:
        for line in file:
            if not line.endswith(b"\n") or line.startswith(b'{"summary"'):
                break
            last = msgspec.json.decode(line, type=_Numbered).line
            tally.add(line, is_answer=b'"answer":' in line[:40])
            digest.update(line)
            size += len(line)
    with aside.open("r+b") as file:
        file.truncate(size)
    return tally, digest, last


class _Numbered(Struct):
    line: int


def _chunks(source: Path, part: Part, done: int) -> Iterator[Chunk]:
    """The lines of a shard after `done`, some at a time."""
    most = Settings().max_body_bytes
    chunk: list[tuple[int, bytes | None]] = []
    with source.open("rb") as file:
        file.seek(part.begin)
        number = part.first_line - 1
        while file.tell() < part.end:
            number += 1
            raw = _bounded_line(file, most)
            if number <= done or (raw is not None and not raw):
                continue
            chunk.append((number, raw))
            if len(chunk) == CHUNK:
                yield tuple(chunk)
                chunk.clear()
    if chunk:
        yield tuple(chunk)


def _bounded_line(file: BinaryIO, most: int) -> bytes | None:
    """One line without its end, or None where it is longer than a line may be."""
    raw = file.readline(most + 2)
    if len(raw) < most + 2 or raw.endswith(b"\n"):
        return raw.strip(b" \t\r\n")
    while raw and not raw.endswith(b"\n"):
        raw = file.readline(_READ)
    return None


def _answers(chunks: Iterator[Chunk], workers: int, graph: Graph) -> Iterator[Written]:
    """What each chunk becomes, in order."""
    if workers == 1:
        _become(graph)
        yield from map(_answer, chunks)
        return
    how = multiprocessing.get_context("spawn" if sys.platform == "win32" else "fork")
    with how.Pool(workers, _become, (graph,)) as pool:
        waiting = []
        for chunk in chunks:
            waiting.append(pool.apply_async(_answer, (chunk,)))
            # Only so many chunks are held as keep the processes busy.
            if len(waiting) > 2 * workers:
                yield waiting.pop(0).get()
        for one in waiting:
            yield one.get()


_GRAPH: list[Graph] = []


def _become(graph: Graph) -> None:
    """Give this process its pack."""
    _GRAPH[:] = [graph]


def _answer(chunk: Chunk) -> Written:
    return tuple(
        (problem_line(number, "body-too-large"), False)
        if raw is None
        else answer_line(number, raw, _GRAPH[0], plan)
        for number, raw in chunk
    )


def _holds(file: Path, part: Part) -> bool:
    if not file.is_file():
        return False
    try:
        return msgspec.json.decode(file.read_bytes(), type=Part) == part
    except msgspec.DecodeError:
        return False


def _write(file: Path, value: Struct) -> None:
    aside = file.with_name(f"{file.name}.new")
    aside.write_bytes(msgspec.json.format(msgspec.json.encode(value), indent=2) + b"\n")
    aside.replace(file)


def shard_of(text: str) -> Shard:
    """The shard that `i/n` names, or `SettingError`."""
    index, slash, of = text.partition("/")
    if slash and index.isascii() and of.isascii() and index.isdigit() and of.isdigit():
        shard = Shard(index=int(index), of=int(of))
        if 1 <= shard.index <= shard.of <= 99_999:
            return shard
    raise SettingError(f"`{text}` is no shard; write it as i/n, from 1/n to n/n")


class Progress:
    """Says how far a run is, on one line of a terminal; on anything else nothing."""

    def __init__(self) -> None:
        self._shown = sys.stderr.isatty()
        self._began = self._last = time.monotonic()

    def __call__(self, words: str) -> None:
        """Show the words, at most twice a second."""
        now = time.monotonic()
        if self._shown and now - self._last >= 0.5:
            self._last = now
            print(f"\r{words}, {now - self._began:.0f} s ", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        """Leave the line."""
        if self._shown:
            print(file=sys.stderr)
