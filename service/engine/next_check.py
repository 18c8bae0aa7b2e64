"""What to check next, as an answer of its own: the same computation as in a plan that asks for it.

Apart from the checks because it speaks like a plan does: it names what it was made by.
"""

from service.engine.checks import scored_checks, worth_saying
from service.engine.contradict import dispute_warnings
from service.engine.decide import decide
from service.engine.languages import graph_in
from service.engine.limits import referrals_of, warnings_of
from service.engine.plan import decision_of, made_by
from service.engine.words import Words
from service.model.answer import NextCheckAnswer
from service.model.graph import Graph
from service.model.quantities import MICRO
from service.model.screen import Screen


def next_check(screen: Screen, graph: Graph) -> NextCheckAnswer:
    """Return the ranked checks of a screen; none where nothing is worth its time or it refers."""
    graph = graph_in(graph, screen.options.language)
    words = Words(graph, screen.options.language)
    decided = decide(screen, graph)
    scored = scored_checks(decided, graph)
    checks = worth_saying(decided, scored, graph, words)
    if decided.weighed is None:
        code, posterior = "check_refer", None
    else:
        code = "check_these" if checks else "check_nothing"
        posterior = decided.weighed.posterior
    return NextCheckAnswer(
        verdict=decided.verdict,
        summary=words.say(code),
        ref=screen.client.ref,
        target=decided.reading.target,  # type: ignore[arg-type]
        value=decided.value / MICRO,
        checks=checks,
        considered=len(scored),
        least_gain=graph.decision.least_gain,
        referrals=referrals_of(decided.safety, graph),
        warnings=(
            *warnings_of(decided.reading, posterior, graph, words),
            *dispute_warnings(decided, graph, words),
        ),
        made_by=made_by(graph),
        decision=decision_of(screen, graph),
    )
