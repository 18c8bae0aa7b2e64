"""Many screens, one line each: what a line becomes, and the summary that closes the answer.

The route and the command line share it, so that both write the same bytes.
"""

from collections.abc import Callable, Iterator
from hashlib import sha256

import msgspec
from msgspec import Struct

from service.model.answer import Answer
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.problems import PROBLEMS, Problem, RefusalError, problem_of
from service.web.reading import Reader

_READER = Reader(Screen)
_ENCODER = msgspec.json.Encoder()


class BulkAnswer(Struct, frozen=True, kw_only=True):
    """The answer for the screen of one line. Lines count from 1."""

    line: int
    answer: Answer


class BulkProblem(Struct, frozen=True, kw_only=True):
    """What is wrong with one line. Lines count from 1; `pointer`s lead into that line."""

    line: int
    problem: Problem


class Summary(Struct, frozen=True, kw_only=True):
    """How many lines were answered, and a digest of all that stands before the summary."""

    lines: int
    answers: int
    problems: int
    sha256: str
    """Of every byte of the answer before this line."""
    pack: str
    """Digest of the pack."""
    complete: bool
    """False where the limit of lines ended the request early."""


class BulkSummary(Struct, frozen=True, kw_only=True):
    """The last line: without it the answer was cut off."""

    summary: Summary


class Tally:
    """Counts of what was written so far, and its digest."""

    def __init__(self) -> None:
        self.answers = 0
        self.problems = 0
        self._digest = sha256()

    def add(self, written: bytes, *, is_answer: bool) -> None:
        """Count one line as it was written."""
        self._digest.update(written)
        if is_answer:
            self.answers += 1
        else:
            self.problems += 1

    def summary(self, pack: str, *, complete: bool = True) -> bytes:
        """The closing line."""
        told = Summary(
            lines=self.answers + self.problems,
            answers=self.answers,
            problems=self.problems,
            sha256=self._digest.hexdigest(),
            pack=pack,
            complete=complete,
        )
        return _ENCODER.encode(BulkSummary(summary=told)) + b"\n"


def answer_line(
    line: int, raw: bytes, graph: Graph, decide: Callable[[Screen, Graph], Answer]
) -> tuple[bytes, bool]:
    """The line of the answer for one line of the request, and whether it holds a plan."""
    try:
        screen = _READER.read(raw)
    except RefusalError as refusal:
        problem = problem_of(PROBLEMS[refusal.problem], refusal.errors)
        return _ENCODER.encode(BulkProblem(line=line, problem=problem)) + b"\n", False
    return _ENCODER.encode(BulkAnswer(line=line, answer=decide(screen, graph))) + b"\n", True


def problem_line(line: int, problem: str) -> bytes:
    """The line of the answer for a line that was not even read."""
    told = problem_of(PROBLEMS[problem], ())
    return _ENCODER.encode(BulkProblem(line=line, problem=told)) + b"\n"


class Lines:
    """Cuts a stream into numbered lines, holding never more than one of them.

    Empty lines are counted and not given. A line beyond the limit is given as None, once.
    """

    def __init__(self, most_bytes: int) -> None:
        self._most = most_bytes
        self._rest = bytearray()
        self._number = 0
        self._skipping = False

    def feed(self, chunk: bytes) -> Iterator[tuple[int, bytes | None]]:
        """The lines that a chunk completes."""
        start = 0
        while (end := chunk.find(b"\n", start)) >= 0:
            self._rest += chunk[start:end]
            start = end + 1
            yield from self._flush()
        self._rest += chunk[start:]
        if len(self._rest) > self._most:
            self._rest.clear()
            if not self._skipping:
                self._skipping = True
                yield self._number + 1, None

    def finish(self) -> Iterator[tuple[int, bytes | None]]:
        """The last line, if the stream did not end with a newline."""
        if self._rest or self._skipping:
            yield from self._flush()

    def _flush(self) -> Iterator[tuple[int, bytes | None]]:
        self._number += 1
        line = bytes(self._rest).strip(b" \t\r")
        self._rest.clear()
        if self._skipping:
            self._skipping = False
        elif len(line) > self._most:
            yield self._number, None
        elif line:
            yield self._number, line
