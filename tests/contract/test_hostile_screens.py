"""Nothing that decodes brings the engine down, and nothing brings the decoder down.

By hand, with more inputs: FUZZ_INPUTS=200000 pytest tests/contract/test_hostile_screens.py
"""

import os
from random import Random

import msgspec
import pytest

from service.engine.plan import plan
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.problems import PROBLEMS, RefusalError
from service.web.reading import Reader
from service.web.shipped import examples
from tests.strategies import random_screen

SEED = 20261125
INPUTS = int(os.environ.get("FUZZ_INPUTS", "3000"))
READER = Reader(Screen)
SPLICES = (
    b"null", b"true", b"-1", b"1e999", b"1e-999", b"NaN", b"0.1", b"[]", b"{}", b'""', b'"\\u0000"',
    b'"\\ud800"', b"\xff", b"\x00", b"9" * 40, b"[" * 50, b'{"a":' * 50, b",", b":", b'"', b"\\",
    b'"both"', b'"none"', b'"left"', b'"absent"', b'"marked"', b"1000000", b"0",
)  # fmt: skip


def mutated(rng: Random, body: bytes) -> bytes:
    """A body with one to four pieces put in, taken out, doubled or swapped."""
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(body) + 1)
        size = rng.choice((0, 1, 2, 8, 40))
        how = rng.randrange(4)
        if how == 0:
            body = body[:at] + rng.choice(SPLICES) + body[at + size :]
        elif how == 1:
            body = body[:at] + body[at + size :]
        elif how == 2:
            body = body[: at + size] + body[at:]
        else:
            body = body[:at] + bytes((rng.randrange(256),)) + body[at + 1 :]
    return body


def test_mutated_bodies_are_answered_or_refused(graph: Graph) -> None:
    print(f"seed {SEED}")
    rng = Random(SEED)
    pool = [*examples().values()]
    pool += [msgspec.json.encode(random_screen(graph, n, healthy=False)) for n in range(60)]
    answered = refused = 0
    for _ in range(INPUTS):
        body = mutated(rng, rng.choice(pool))
        try:
            screen = READER.read(body)
        except RefusalError as refusal:
            refused += 1
            assert refusal.problem in PROBLEMS
        else:
            answered += 1
            assert msgspec.json.encode(plan(screen, graph))
    assert answered + refused == INPUTS
    assert answered > INPUTS // 100 and refused > INPUTS // 2


@pytest.mark.parametrize("start", range(0, min(INPUTS // 10, 20_000), 100))
def test_random_screens_are_always_answered(graph: Graph, start: int) -> None:
    for number in range(start, start + 100):
        screen = random_screen(graph, SEED + number, healthy=number % 2 == 0)
        assert msgspec.json.encode(plan(screen, graph))
