"""The whole decision: named by its digest, the same bytes everywhere, and no forbidden words."""

import importlib.resources
import os
import subprocess
import sys
from importlib.resources.abc import Traversable

import msgspec
import numpy as np
import pytest

from service.engine.plan import decision_of, plan
from service.model.graph import Graph
from service.model.screen import Known, Measurement, Options, Screen
from tests.held import forbidden_words
from tests.strategies import random_screen, shuffled

EXAMPLES = sorted(
    (p for p in (importlib.resources.files("openapi") / "examples").iterdir() if p.is_file()),
    key=lambda path: path.name,
)
DIGEST_OF_ALL = """
import hashlib, importlib.resources, msgspec
from service.compiler import compile_pack
from service.engine.plan import plan
from service.model.screen import Screen
graph = compile_pack()
digest = hashlib.sha256()
folder = importlib.resources.files("openapi") / "examples"
for path in sorted(folder.iterdir(), key=lambda p: p.name):
    if not path.is_file():
        continue
    screen = msgspec.json.decode(path.read_bytes(), type=Screen)
    digest.update(msgspec.json.encode(plan(screen, graph)))
print(digest.hexdigest())
"""


def digest_in_a_new_process(**environment: str) -> str:
    run = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", DIGEST_OF_ALL],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=True,
    )
    return run.stdout.strip()


def dispatched() -> str:
    """Return the processor features that numpy found here beyond its least."""
    core = np._core._multiarray_umath  # type: ignore[attr-defined]
    return " ".join(f for f in core.__cpu_dispatch__ if core.__cpu_features__.get(f))


def test_all_examples_give_the_same_bytes_in_every_process() -> None:
    assert len(EXAMPLES) >= 12
    digests = {
        digest_in_a_new_process(PYTHONHASHSEED="0"),
        digest_in_a_new_process(PYTHONHASHSEED="4242"),
        digest_in_a_new_process(PYTHONHASHSEED="1", NPY_DISABLE_CPU_FEATURES=dispatched()),
    }

    assert len(digests) == 1
    assert len(digests.pop()) == 64


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_no_example_is_answered_with_a_claim(path: Traversable, graph: Graph) -> None:
    screen = msgspec.json.decode(path.read_bytes(), type=Screen)

    assert forbidden_words(plan(screen, graph)) == []


def test_no_served_record_makes_a_claim(graph: Graph) -> None:
    kinds = (
        *("alerts", "causes", "cautions", "changes", "doses", "drills", "findings", "kit"),
        *("ladders", "links", "measures", "movements", "muscles", "rules"),
    )
    found = [
        (kind, one, forbidden_words(record))
        for kind in kinds
        for one, record in getattr(graph, kind).items()
        if forbidden_words(record)
    ]
    found += [
        ("texts", one, forbidden_words(text))
        for codes in graph.texts.values()
        for one, text in codes.items()
        # what pages say of themselves once: that nothing is diagnosed here
        if not one.startswith(("card_", "kiosk_")) or "iagnos" not in text
        if forbidden_words(text)
    ]

    assert found == []


def test_the_search_for_claims_finds_one() -> None:
    assert forbidden_words({"text": "This prevents injuries."})
    assert forbidden_words("to activate the muscle")


def test_the_decision_depends_on_what_is_said_and_not_on_how(graph: Graph) -> None:
    for seed in range(200, 230):
        screen = random_screen(graph, seed, healthy=False)
        name = decision_of(screen, graph)
        client = msgspec.structs.replace(screen.client, ref="c-17")
        asked = Options(explain="full", language="en", include=("next_checks",))
        assert decision_of(shuffled(screen, seed), graph) == name, f"seed {seed}"
        assert decision_of(msgspec.structs.replace(screen, client=client), graph) == name
        assert decision_of(msgspec.structs.replace(screen, options=asked), graph) == name
        assert plan(screen, graph).decision == name


def test_the_decision_depends_on_everything_else(graph: Graph) -> None:
    screen = random_screen(graph, 7, healthy=False)
    first = screen.observations[0]
    grade = "absent" if first.grade != "absent" else "mild"
    change = msgspec.structs.replace
    others = [
        change(screen, minutes=screen.minutes + 1),
        change(screen, kit=(*screen.kit, "one_more")),
        change(screen, setting="remote" if screen.setting == "in_person" else "in_person"),
        change(screen, target="walk" if screen.target != "walk" else "squat"),
        change(screen, observations=screen.observations[1:]),
        change(screen, observations=(change(first, grade=grade), *screen.observations[1:])),
        change(
            screen,
            measurements=(
                *screen.measurements,
                Measurement(measure="hip_flexion", value=100, unit="deg", side="left"),
            ),
        ),
        change(screen, recent=(*screen.recent, "one_more")),
        change(screen, avoid=(*screen.avoid, "one_more")),
        change(screen, known=(*screen.known, Known(cause="calf.control", present=False))),
        change(screen, client=change(screen.client, level="advanced", age_years=61)),
        change(screen, client=change(screen.client, pain=None)),
        change(screen, client=change(screen.client, alerts=("fainting",))),
    ]
    names = [decision_of(one, graph) for one in (screen, *others)]

    assert len(set(names)) == len(names)


def test_another_pack_is_another_decision(graph: Graph) -> None:
    screen = random_screen(graph, 8)
    pack = msgspec.structs.replace(graph.pack, digest="0" * 64)

    assert decision_of(screen, graph) != decision_of(
        screen, msgspec.structs.replace(graph, pack=pack)
    )


def test_ref_comes_back_as_sent_and_changes_nothing(graph: Graph) -> None:
    screen = random_screen(graph, 9)
    client = msgspec.structs.replace(screen.client, ref="c-17")
    answer = plan(msgspec.structs.replace(screen, client=client), graph)

    assert answer.ref == "c-17"
    assert msgspec.structs.replace(answer, ref=None) == plan(screen, graph)
