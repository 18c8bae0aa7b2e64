"""Why each cause is believed: the evidence behind it, and how far each piece moved the belief.

Apart from the session's reasons because these rest on inference alone.
"""

import math
from typing import Final

from msgspec.structs import replace

from service.engine.because import NOTHING, Told, from_measurement, looks_of, plainly
from service.engine.infer_terms import STRONGEST
from service.engine.kept import Keeper
from service.engine.read import Reading
from service.engine.rounding import rounded
from service.engine.rules import rule_of
from service.engine.weigh import Weighing, belief, side_of, touched_by
from service.engine.words import Words
from service.model.answer import Because, CauseAnswer, Explains, MuscleRole
from service.model.graph import Graph
from service.model.network import ANY, LEFT, RIGHT, Posterior
from service.model.quantities import MICRO, Side
from service.model.records import Leaf

__all__ = ["NOTHING", "Facts", "causes_of", "leading_cause", "least_lean"]

SAID_FROM: Final = 0.05
"""Log odds below which a piece of evidence is not worth a sentence."""
MARGIN = 1e-6
LISTED_FROM: Final = 0.005
"""Weight below which a cause that the evidence did not raise is not listed."""
MASKS: Final = 4
"""A cause on a side is one place: its variable times this, and its mask."""


class Facts(Leaf, frozen=True, kw_only=True):
    """Everything that reasons are made from."""

    graph: Graph
    reading: Reading
    posterior: Posterior
    weighing: Weighing


class Hypothesis:
    """What the pack alone says of a cause."""

    def __init__(self, graph: Graph, cause: str) -> None:
        record = graph.causes[cause]
        self.id = cause
        self.name = record.name
        self.sided = record.sided
        self.wrong_when = record.wrong_when
        self.muscles = tuple(
            [
                MuscleRole(muscle=m.muscle, name=graph.muscles[m.muscle].name, does=m.does)
                for m in record.muscles
            ]
        )


class Pack:
    """What is the same for all screens: causes by variable, what is touched and seen by event."""

    def __init__(self, graph: Graph) -> None:
        self.hypotheses = [Hypothesis(graph, one.id) for one in graph.network.variables]
        self.places = [
            [variable * MASKS + mask for variable, mask in event] for event in touched_by(graph)
        ]
        self.wholes = [
            Explains(
                movement=key.movement,  # type: ignore[arg-type]
                finding=key.finding,  # type: ignore[arg-type]
                side=key.side,
                share=1.0,
            )
            for key in graph.events
        ]
        """All of an event; each cause explains a part."""


_PACK = Keeper(Pack)


class Standing:
    """How a cause stands on a side, and the evidence of it as it is gathered."""

    def __init__(self, cause: str, variable: int, mask: int, weight: float, believed: float):
        self.cause = cause
        self.place = variable * MASKS + mask
        self.mask = mask
        self.weight = weight
        """A whole number of millionths."""
        self.believed = believed
        self.told: bool | None = None
        self.listed = False
        """Because it weighs, is more likely than not, or was told."""
        self.explains: list[Explains] = []
        self._reasons: list[Because] = []
        self._sizes: list[float] = []
        """How far each reason moved the belief."""

    def say(self, because: Because, moved: float) -> None:
        """Take in a reason."""
        self._reasons.append(because)
        self._sizes.append(abs(moved))

    def because(self) -> list[Because]:
        """Return what is said of the cause, what moved it furthest first, then by code and text."""
        reasons, sizes = self._reasons, self._sizes
        if len(reasons) < 2:
            return reasons
        ranked = [(-sizes[n], one.code, one.text, n) for n, one in enumerate(reasons)]
        ranked.sort()
        return [reasons[n] for _, _, _, n in ranked]


_Ranked = tuple[float, float, str, Side, Hypothesis, list[Standing]]
"""A cause that is listed: less its weight, less its belief, its id, its side; how it stands."""


def causes_of(facts: Facts, words: Words) -> tuple[CauseAnswer, ...]:
    """Return the causes that weigh or are likely, by weight, belief, id and side."""
    graph = facts.graph
    pack, idle_from = _PACK.of(graph), graph.decision.present_from
    ranked = _ranked(facts, pack)
    asked: list[Standing | None] = [None] * (len(pack.hypotheses) * MASKS)
    for _, _, _, _, _, standings in ranked:
        for standing in standings:
            asked[standing.place] = standing
    _gather(facts, words, pack, asked)
    return tuple([_answer(one, words, idle_from) for one in ranked])


def leading_cause(facts: Facts) -> tuple[str, Side] | None:
    """Return the first of the causes with its side, None where there is none."""
    ranked = _ranked(facts, _PACK.of(facts.graph))
    return (ranked[0][2], ranked[0][3]) if ranked else None


def _ranked(facts: Facts, pack: Pack) -> list[_Ranked]:
    """Return the causes that are listed in their order, twins that are alike as one."""
    lean = least_lean(facts.graph)
    found: list[_Ranked] = []
    for hypothesis, standings in _standings(facts, pack):
        if len(standings) == 2 and _alike(standings[0], standings[1], lean):
            left, right = standings[0], standings[1]
            # the larger of the two decides, so that left and right are treated alike
            if left.listed or right.listed:
                weight = rounded(left.weight + right.weight, 6)
                believed = rounded(min(left.believed, right.believed), 6)
                found.append((-weight, -believed, hypothesis.id, "both", hypothesis, standings))
            continue
        for one in standings:
            if one.listed:
                side, believed = side_of(one.mask, hypothesis.sided), rounded(one.believed, 6)
                found.append((-one.weight, -believed, hypothesis.id, side, hypothesis, [one]))
    # INVARIANT: a cause is listed once on a side, so that what comes after is never compared
    found.sort()
    return found


def _standings(facts: Facts, pack: Pack) -> list[tuple[Hypothesis, list[Standing]]]:
    """Return each cause that may be listed with how it stands on each side."""
    likely_from, by_side = facts.graph.decision.present_from, facts.weighing.by_side
    weights, hypotheses = facts.weighing.by_cause, pack.hypotheses
    known = facts.reading.known
    told = {variable * MASKS + mask: present for variable, mask, present in known}
    named, some = {variable for variable, _, _ in known}, len(known) > 0
    both, alone = (LEFT, RIGHT), (ANY,)
    # rounding to nine decimals moves a belief by less than the margin
    most_absent = 1 - likely_from + MARGIN
    found = []
    for variable, states in enumerate(facts.posterior.states):
        weighs = weights[variable] > 0
        if not (weighs or states[0] < most_absent or (some and variable in named)):
            continue
        hypothesis = hypotheses[variable]
        standings = []
        for mask in both if hypothesis.sided else alone:
            weight = by_side.get((variable, mask), 0) / MICRO if weighs else 0.0
            believed = belief(states, mask)
            one = Standing(hypothesis.id, variable, mask, weight, believed)
            if some:
                one.told = told.get(one.place)
            one.listed = weight >= LISTED_FROM or believed > likely_from or one.told is not None
            standings.append(one)
        found.append((hypothesis, standings))
    return found


def least_lean(graph: Graph) -> float:
    """Return the part of a weight by which sides must differ to count as different."""
    return rule_of(graph, "weaker_side_first").numbers["least_lean_percent"] / 100


def _alike(one: Standing, other: Standing, lean: float) -> bool:
    """Say if twins are told, weigh and are believed alike: no coach could tell them apart."""
    if abs(one.weight - other.weight) > lean * (one.weight + other.weight):
        return False
    return abs(one.believed - other.believed) <= lean and one.told == other.told


def _gather(facts: Facts, words: Words, pack: Pack, asked: list[Standing | None]) -> None:
    """Give each cause on a side that is asked for, by its place, the evidence that touches it.

    How much of each sighting it accounts for, in the order of events, and every piece of evidence
    that moved the belief enough to be worth a sentence.
    """
    graph, reading = facts.graph, facts.reading
    places, looks = pack.places, looks_of(words)
    sightings, positives = facts.posterior.sightings, reading.positives
    for nth, said in enumerate(sightings):
        if said is None:
            continue
        seen = positives[nth]
        event, parents, trials = seen.event, said.parents, seen.trials
        told: Told | None = None
        for n, place in enumerate(places[event]):
            standing = asked[place]
            if standing is None:
                continue
            if told is None:
                told = Told(words, looks, seen)
            part = parents[n]
            share, moved, cause = part.share, part.moved, standing.cause
            if share >= LISTED_FROM:
                standing.explains.append(replace(pack.wholes[event], share=rounded(share, 6)))
            if abs(moved) >= SAID_FROM:
                moved = rounded(moved, 6)
                standing.say(told.look(cause, moved), moved)
            if trials:
                for at, moved in enumerate(part.trial_moved):
                    if abs(moved) >= SAID_FROM:
                        moved = rounded(moved, 6)
                        standing.say(told.trial(at, cause, moved), moved)
    absences = reading.evidence.absences
    for nth, seen in enumerate(reading.negatives):
        event, scale = seen.event, absences[nth].scale
        told = None
        for n, place in enumerate(places[event]):
            standing = asked[place]
            if standing is None:
                continue
            # what was looked for and not seen: its factor on the odds is exact
            strength = graph.network.events[event].parents[n].strength
            moved = math.log(1 - min(strength * scale, STRONGEST))
            if abs(moved) >= SAID_FROM:
                if told is None:
                    told = Told(words, looks, seen)
                moved = rounded(moved, 6)
                standing.say(told.look(standing.cause, moved), moved)
    ratio_moved = facts.posterior.ratio_moved
    for nth, measured in enumerate(reading.measured):
        moves = ratio_moved[nth]
        for n, (variable, mask) in enumerate(measured.targets):
            standing = asked[variable * MASKS + mask]
            if standing is not None and abs(moves[n]) >= SAID_FROM:
                reason = from_measurement(graph, words, measured, moves[n], standing.cause)
                standing.say(reason, rounded(moves[n], 6))


def _answer(ranked: _Ranked, words: Words, idle_from: float) -> CauseAnswer:
    """Return a cause on a side; or twins as one: both weights, the belief that both reach."""
    weight, believed, _, side, hypothesis, standings = ranked
    explains = standings[0].explains
    because = _because(standings[0], words, idle_from)
    if len(standings) == 2:
        explains += standings[1].explains
        also = _because(standings[1], words, idle_from)
        if also:
            said = {b.text for b in because}
            because += [b for b in also if b.text not in said or b not in because]
    return CauseAnswer(
        cause=hypothesis.id,
        name=hypothesis.name,
        side=side,
        muscles=hypothesis.muscles,
        belief=-believed,
        weight=-weight,
        explains=tuple(explains),
        firmness=None,
        because=tuple(because),
        wrong_when=hypothesis.wrong_when,
    )


def _because(standing: Standing, words: Words, idle_from: float) -> list[Because]:
    """Return what is said of a cause on a side, and last if it is there without weight."""
    if standing.told is not None:
        code = "known_present" if standing.told else "known_absent"
        standing.say(plainly(words, code, cause=standing.cause), 0.0)
    because = standing.because()
    if standing.believed > idle_from and standing.weight < LISTED_FROM:
        because.append(plainly(words, "present_but_idle", cause=standing.cause))
    return because
