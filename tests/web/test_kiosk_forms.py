"""What is no form of the touch page: forged, oversized, or any bytes at all. It never fails.

Apart from the visits because nothing here is what a browser would send.
"""

from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from litestar.testing import TestClient

from service.web.app import create_app
from service.web.settings import Settings
from tests.shipped import shipped_graph
from tests.web.forms import Visitor, form_in

Client = TestClient[Any]
HOSTILE = "\"'><script>alert(1)</script>"


@cache
def running() -> Client:
    """One application for all tests and examples."""
    return TestClient(create_app(shipped_graph(), Settings(log="faults")))


@pytest.mark.parametrize(
    "draft",
    [
        "x",
        "{}x",
        "[]",
        "null",
        '{"language":5}',
        '{"answers":{"alerts":"none"}}',
        '{"answers":{"alerts":["none"]},"more":1}',
        "\U0001f600",
        "[" * 5000,
        HOSTILE,
    ],
)
def test_a_forged_draft_gives_the_first_page_and_says_so(draft: str) -> None:
    visitor = Visitor(running())
    visitor.send({"draft": [draft], "at": ["movement"], "go": ["next"]})
    assert visitor.answer.status_code == 200
    assert visitor.at == "alerts"
    assert 'role="alert"' in visitor.answer.text
    assert "<script>alert" not in visitor.answer.text


@pytest.mark.parametrize(
    ("kind", "body", "status"),
    [
        ("application/json", b"{}", 415),
        ("multipart/form-data; boundary=x", b"--x--", 415),
        ("application/x-www-form-urlencoded", b"a=" + b"x" * 300_000, 413),
    ],
)
def test_what_is_no_form_of_ours_is_refused(kind: str, body: bytes, status: int) -> None:
    answer = running().post("/kiosk", content=body, headers={"Content-Type": kind})
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"


FORM = {"Content-Type": "application/x-www-form-urlencoded"}
SENDABLE = st.characters(codec="utf-8")
NAMES = st.sampled_from(
    ["draft", "at", "go", "language", "asked", "alerts", "movement", "seen", "minutes", "age"]
)
VALUES = st.one_of(
    st.sampled_from(
        ["", "yes", "next", "back", "stay", "none", "squat", "knee_in", "today", "{}", "de",
         '{"answers":{"alerts":["none"],"pain":["none"],"conditions":["none"],"age":[""],'
         '"movement":["squat"],"stood":["front"],"left_path":["all"]}}']
    ),
    st.text(SENDABLE, max_size=80),
)  # fmt: skip
PAIRS = st.lists(st.tuples(st.one_of(NAMES, st.text(SENDABLE, max_size=20)), VALUES), max_size=12)


@given(pairs=PAIRS)
@settings(max_examples=150, deadline=None, print_blob=True)
def test_no_form_whatever_makes_the_service_fail(pairs: list[tuple[str, str]]) -> None:
    fields: dict[str, list[str]] = {}
    for name, value in pairs:
        fields.setdefault(name, []).append(value)
    answer = running().post("/kiosk", data=fields, headers=FORM)
    assert answer.status_code == 200, answer.text
    assert form_in(answer.text).title


@given(body=st.binary(max_size=400))
@settings(max_examples=150, deadline=None, print_blob=True)
def test_no_bytes_whatever_make_the_service_fail(body: bytes) -> None:
    answer = running().post("/kiosk", content=body, headers=FORM)
    assert answer.status_code == 200, answer.text
    assert form_in(answer.text).title


def test_safety_cannot_be_skipped() -> None:
    visitor = Visitor(running())
    visitor.send({"draft": ["{}"], "at": ["today"], "go": ["next"], "asked": ["yes"]})
    assert visitor.at == "alerts"
    assert "drills" not in visitor.answer.text
