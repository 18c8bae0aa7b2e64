"""Languages: the same decision in every one, whole sentences in each, English where one lacks."""

import msgspec
import pytest

from service.engine.languages import graph_in, language_accepted, language_of
from service.engine.plan import plan
from service.model.answer import Answer
from service.model.graph import Graph
from service.model.quantities import Include
from service.model.screen import Options, Screen
from tests.held import forbidden_words
from tests.strategies import random_screen, seeds

SEEDS = seeds(500000, 60)
ALL: tuple[Include, ...] = ("firmness", "turning_points")
SENTENCES = frozenset(
    {
        "advice", "carry_over", "cues", "detail", "does", "good_looks_like", "name", "say",
        "stop_when", "summary", "text", "wrong_when",
    }
)  # fmt: skip
"""Fields that are read by people."""

Json = dict[str, "Json"] | list["Json"] | str | int | float | bool | None


def said(screen: Screen, language: str | None, graph: Graph, *include: Include) -> Answer:
    options = Options(language=language, include=include, explain="full")
    return plan(msgspec.structs.replace(screen, options=options), graph)


def unspoken(value: Json, trace: bool = False) -> Json:
    """Return an answer without its sentences; the trace has none, only ids and codes."""
    if isinstance(value, dict):
        return {
            key: unspoken(one, trace or key == "trace")
            for key, one in value.items()
            if trace or key not in SENTENCES
        }
    if isinstance(value, list | tuple):
        return sorted((unspoken(one, trace) for one in value), key=msgspec.json.encode)
    return value


def test_ids_numbers_and_decision_are_the_same_in_every_language(graph: Graph) -> None:
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=seed % 2 == 0)
        english, german = (msgspec.to_builtins(said(screen, x, graph)) for x in ("en", "de"))
        assert unspoken(english) == unspoken(german), f"seed {seed}"
        assert english["summary"] != german["summary"], f"seed {seed}"


def test_turning_points_and_firmness_do_not_depend_on_the_language(graph: Graph) -> None:
    for seed in SEEDS[:4]:
        screen = random_screen(graph, seed)
        english, german = (msgspec.to_builtins(said(screen, x, graph, *ALL)) for x in ("en", "de"))
        assert unspoken(english) == unspoken(german), f"seed {seed}"


def test_a_german_answer_says_nothing_of_causes_and_evidence_in_english(graph: Graph) -> None:
    english = {c.name for c in graph.causes.values()} | {f.name for f in graph.findings.values()}
    english |= {c.name for c in graph.changes.values()} | {c.say for c in graph.cautions.values()}
    english |= {a.say for a in graph.alerts.values()} | set(graph.texts["en"].values())
    both = set(graph.texts["de"].values())
    english -= both
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=seed % 2 == 0)
        answer = said(screen, "de-AT", graph)
        spoken = [answer.summary, *answer.carry_over, *(w.text for w in answer.warnings)]
        spoken += [c.name for c in answer.causes] + [c.wrong_when for c in answer.causes]
        spoken += [b.text for c in answer.causes for b in c.because]
        spoken += [c.text for c in answer.cautions] + [r.text for r in answer.referrals]
        spoken += [r.text for r in answer.retest] + [x.detail for x in answer.left_out]
        assert not english & set(spoken), f"seed {seed}"
        assert forbidden_words(answer) == [], f"seed {seed}"


def test_an_unknown_language_is_english_and_no_error(graph: Graph) -> None:
    screen = random_screen(graph, SEEDS.start)
    for language in ("xx", "zz-Latn", "Klingon", "--", "en-GB"):
        assert said(screen, language, graph) == said(screen, None, graph), language
        assert language_of(language, graph) == "en"


@pytest.mark.parametrize(
    ("header", "language"),
    [
        (None, "en"),
        ("", "en"),
        ("de", "de"),
        ("de-CH, en;q=0.5", "de"),
        ("en;q=0.5, de;q=0.9", "de"),
        ("fr, de;q=0.4", "de"),
        ("de;q=0, *", "en"),
        ("de;q=0", "en"),
        ("fr;q=1, xx", "en"),
        ("*", "en"),
        (";;;,q=,,de;q=zwei", "en"),
    ],
)
def test_the_header_chooses_the_best_language_there_is(
    graph: Graph, header: str | None, language: str
) -> None:
    assert language_accepted(header, graph) == language


def test_the_graph_in_a_language_shares_everything_that_decides(graph: Graph) -> None:
    german = graph_in(graph, "de")
    assert german is graph_in(graph, "de-DE")
    assert german.network is graph.network
    assert german.offers is graph.offers
    assert german.pack == graph.pack
    assert graph_in(graph, "en") is graph


def test_what_a_gym_could_have_added_is_german_in_the_shipped_pack(graph: Graph) -> None:
    owed = [f"kit.{one}.name" for one in graph.kit]
    owed += [f"alerts.{one}.say" for one in graph.alerts]
    owed += [f"cautions.{one}.{field}" for one in graph.cautions for field in ("name", "say")]
    assert not set(owed) - graph.texts["de"].keys()
