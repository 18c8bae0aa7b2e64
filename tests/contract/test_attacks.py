"""Whatever bytes arrive: an answer with the right status, in time, and never one of 5xx."""

import time
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest

from service.web.problems import PROBLEMS
from tests.contract.attacks import Attack, attacks
from tests.contract.running import Running, exchange, service

RECEIVE_S = 1
ANSWER_WITHIN_S = RECEIVE_S + 3.0
ATTACKS = attacks()


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    folder: Path = tmp_path_factory.mktemp("attacks")
    with service(folder, {"RECEIVE_WITHIN_S": str(RECEIVE_S)}) as running:
        yield running


def test_there_are_at_least_120_attacks_with_names_of_their_own() -> None:
    assert len({attack.name for attack in ATTACKS}) == len(ATTACKS) >= 120


@pytest.mark.parametrize("attack", ATTACKS, ids=[attack.name for attack in ATTACKS])
def test_a_hostile_request_gets_its_status(target: Running, attack: Attack) -> None:
    began = time.monotonic()
    answer = exchange(target.port, attack.sent)
    took_s = time.monotonic() - began
    status = int(answer.split(b" ", 2)[1]) if answer else 0
    assert status == attack.status, answer[:600]
    assert took_s < ANSWER_WITHIN_S
    if status >= 400:
        head, _, body = answer.partition(b"\r\n\r\n")
        assert b"content-type: application/problem+json" in head.lower()
        assert b"movewright-service: " in head.lower()
        told = msgspec.json.decode(body)
        assert told["status"] == status
        assert told["type"].removeprefix("/problems/") in PROBLEMS


def test_it_still_answers_after_all_of_them(target: Running) -> None:
    answer = exchange(target.port, b"GET /livez HTTP/1.1\r\nHost: x\r\n\r\n")
    assert answer.startswith(b"HTTP/1.1 200")
    assert target.process.poll() is None
    assert b'"status":5' not in target.log.read_bytes()
