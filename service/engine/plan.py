"""From a screen to an answer: the one place that calls every step in its order."""

import hashlib

import msgspec
from msgspec.structs import replace

from service import __version__
from service.engine.checks import next_checks
from service.engine.contradict import dispute_warnings
from service.engine.decide import Inference, decide
from service.engine.firmness import with_firmness
from service.engine.infer import infer
from service.engine.kept import Keeper
from service.engine.languages import graph_in
from service.engine.limits import cautions_of, referrals_of, warnings_of
from service.engine.looking import look_at
from service.engine.outlook import carry_over, retests
from service.engine.read import Reading
from service.engine.reasons import Facts, causes_of
from service.engine.safety import Safety
from service.engine.session import left_out_of, session_of
from service.engine.trace import trace_of
from service.engine.turning import turning_points
from service.engine.words import Words
from service.model.answer import Answer, CauseAnswer, MadeBy, Session
from service.model.graph import Graph
from service.model.screen import Observation, Options, Screen

CONTRACT = "1.0.0"
"""Version of the published contract."""


def plan(screen: Screen, graph: Graph, *, infer_with: Inference = infer) -> Answer:
    """Return the answer to a screen. Pure: the same screen and pack give the same bytes.

    `infer_with` weighs the evidence; a review hands in what two screens say together.
    """
    graph = graph_in(graph, screen.options.language)
    words = Words(graph, screen.options.language)
    decided = decide(screen, graph, infer_with)
    reading, safety, weighed = decided.reading, decided.safety, decided.weighed
    if weighed is None:
        return _refer(screen, reading, safety, graph, words)
    posterior, weighing = weighed.posterior, weighed.weighing
    facts = Facts(graph=graph, reading=reading, posterior=posterior, weighing=weighing)
    causes = causes_of(facts, words)
    laid, choice = weighed.laid, weighed.choice
    session = session_of(facts, screen, laid, choice, causes, words) if laid and choice else None
    verdict = weighing.verdict
    wanted = screen.options.include
    if "firmness" in wanted:
        causes = with_firmness(decided, causes, graph)
    return Answer(
        verdict=verdict,
        summary=_summary(facts, screen, causes, session, words),
        ref=screen.client.ref,
        target=reading.target,  # type: ignore[arg-type]
        causes=causes,
        referrals=referrals_of(safety, graph),
        session=session,
        carry_over=carry_over(facts, words, session.steps if session else ()),
        left_out=left_out_of(facts, laid, choice, words) if laid and choice else (),
        look_at=look_at(facts, screen, causes, words) if verdict == "unsure" else (),
        next_checks=next_checks(decided, graph, words) if "next_checks" in wanted else (),
        turning_points=turning_points(decided, graph, words, _plainly)
        if "turning_points" in wanted
        else (),
        retest=retests(facts, screen, words),
        cautions=cautions_of(safety, graph),
        warnings=(
            *warnings_of(reading, posterior, graph, words),
            *dispute_warnings(decided, graph, words),
        ),
        made_by=made_by(graph),
        decision=decision_of(screen, graph),
        trace=trace_of(decided, session, graph) if screen.options.explain == "full" else None,
    )


def _plainly(screen: Screen, graph: Graph) -> Answer:
    """Return the answer to a screen without what only its options ask for."""
    return plan(replace(screen, options=Options()), graph)


def _refer(screen: Screen, reading: Reading, safety: Safety, graph: Graph, words: Words) -> Answer:
    """Return an answer that refers: nothing is planned and nothing is guessed."""
    return Answer(
        verdict="refer",
        summary=words.say("summary_refer"),
        ref=screen.client.ref,
        target=reading.target,  # type: ignore[arg-type]
        causes=(),
        referrals=referrals_of(safety, graph),
        session=None,
        carry_over=(),
        left_out=(),
        look_at=(),
        next_checks=(),
        turning_points=(),
        retest=(),
        cautions=cautions_of(safety, graph),
        warnings=warnings_of(reading, None, graph, words),
        made_by=made_by(graph),
        decision=decision_of(screen, graph),
        trace=() if screen.options.explain == "full" else None,
    )


def _summary(
    facts: Facts,
    screen: Screen,
    causes: tuple[CauseAnswer, ...],
    session: Session | None,
    words: Words,
) -> str:
    verdict = facts.weighing.verdict
    if verdict == "nothing_found":
        target = facts.reading.target
        return words.say("summary_nothing_found", target=words.movement(target) if target else "")
    if verdict == "unsure":
        return words.say("summary_unsure" if session else "summary_unsure_empty")
    if session is None:
        return words.say("summary_no_session", minutes=screen.minutes)
    count = len(session.steps)
    lead = causes[0]
    return words.say(
        f"summary_{verdict}",
        lead=words.say("lead", cause=words.cause(lead.cause), side=words.side(lead.side)),
        steps=words.say("steps_one" if count == 1 else "steps_many", count=count),
        minutes=words.number(session.minutes),
    )


def made_by(graph: Graph) -> MadeBy:
    """Return which service, contract and pack answer."""
    return _MADE_BY.of(graph)


def _made_by(graph: Graph) -> MadeBy:
    return MadeBy(
        service=__version__,
        contract=CONTRACT,
        pack=graph.pack.version,
        digest=graph.pack.digest,
    )


_MADE_BY = Keeper(_made_by)


def decision_of(screen: Screen, graph: Graph) -> str:
    """Return the SHA-256 that names a decision: what was decided on, by which pack and engine.

    The screen counts as decoded, defaults filled, every list sorted, without `ref` and
    `options`: two screens that say the same in another order are one decision.
    """
    client = screen.client
    said = replace(
        screen,
        client=replace(
            client,
            ref=None,
            conditions=_in_order(client.conditions),
            alerts=_in_order(client.alerts),
            pain=_in_order(client.pain),
        ),
        observations=_in_order(tuple([_trials_in_order(one) for one in screen.observations])),
        measurements=_in_order(screen.measurements),
        kit=_in_order(screen.kit),
        recent=_in_order(screen.recent),
        avoid=_in_order(screen.avoid),
        known=_in_order(screen.known),
        options=_NOTHING_ASKED,
    )
    return hashlib.sha256(_ENCODER.encode(said) + _MAKING.of(graph)).hexdigest()


_ENCODER = msgspec.json.Encoder()
_NOTHING_ASKED = Options()


def _making(graph: Graph) -> bytes:
    """Return what names a pack and the engine in a decision."""
    return f"{graph.pack.digest}{__version__}".encode()


_MAKING = Keeper(_making)


def _trials_in_order(seen: Observation) -> Observation:
    trials = seen.trials
    return replace(seen, trials=_in_order(trials)) if len(trials) > 1 else seen


def _in_order(items: tuple[object, ...] | None) -> tuple[object, ...] | msgspec.Raw | None:
    """Return the items in the order of their encodings, encoded where there are two or more."""
    if items is None or len(items) < 2:
        return items
    encode = _ENCODER.encode
    encoded = [encode(one) for one in items]
    encoded.sort()
    return msgspec.Raw(b"[" + b",".join(encoded) + b"]")
