"""The belief in each cause at the baseline and now, from both screens together.

Apart from the comparison of findings because a cause has one past: two screens judged each by
itself would give it two independent priors. The network is laid out twice, once a screen, and
each cause is tied to itself some days later; the posterior over both is exact.
"""

from collections.abc import Mapping

from msgspec import Struct, structs

from service.engine.infer import infer
from service.engine.weigh import belief
from service.model.graph import Graph
from service.model.network import (
    ANY,
    LEFT,
    RIGHT,
    Absence,
    Event,
    Evidence,
    Fixed,
    LikelihoodRatio,
    Network,
    Parent,
    Posterior,
    Sighting,
    Tie,
    Variable,
)
from service.model.quantities import Mode

Place = tuple[int, int]
"""A cause on a side: (variable, mask)."""
WEEK = 7
LONGEST_MEMORY, SHORTEST_MEMORY = 0.98, 0.02
"""Ends of what one screen says of the other, as of every strength; build, which does not go, has
the first."""
_doubled: list[tuple[Network, Network]] = []
_DOUBLED_AT_MOST = 2


class Joint(Struct, frozen=True, kw_only=True, gc=False):
    """P(present | both screens) by cause and side, for what either screen speaks of.

    `later` is the posterior of the retest by itself, with all that the baseline says in it;
    `earlier` that of the baseline, with all that the retest says.
    """

    before: Mapping[Place, float]
    after: Mapping[Place, float]
    earlier: Posterior
    later: Posterior


def joint_of(first: Evidence, last: Evidence, days: int, graph: Graph) -> Joint:
    """Return what a baseline and a retest so many days later say together."""
    network = graph.network
    touched = sorted(_touched(first, network) | _touched(last, network))
    tied = sorted({(v, m) for v, _ in touched for m in _masks(network.variables[v])})
    modes = [cause.mode for cause in graph.causes.values()]
    ties = tuple(_tie(v, m, graph, memory_of(graph, modes[v], days)) for v, m in tied)
    count = len(network.variables)
    said = infer(_twice(network), structs.replace(_both(first, last, network), ties=ties))
    return Joint(
        before={(v, m): round(belief(said.states[v], m), 9) for v, m in touched},
        after={(v, m): round(belief(said.states[v + count], m), 9) for v, m in touched},
        earlier=_earlier(said, first, graph),
        later=_later(said, first, graph),
    )


def _earlier(said: Posterior, first: Evidence, graph: Graph) -> Posterior:
    """Return the part of a joint posterior that is about the baseline."""
    seen, told = len(first.sightings), len(first.ratios)
    return Posterior(
        states=said.states[: len(graph.network.variables)],
        sightings=said.sightings[:seen],
        ratio_moved=said.ratio_moved[:told],
        unweighed=tuple(i for i in said.unweighed if i < seen),
        log_evidence=said.log_evidence,
        unweighed_trials=tuple((i, t) for i, t in said.unweighed_trials if i < seen),
    )


def _later(said: Posterior, first: Evidence, graph: Graph) -> Posterior:
    """Return the part of a joint posterior that is about the retest.

    Where neither screen speaks of a cause nothing ties it to its past: its prior stands.
    """
    count = len(graph.network.variables)
    seen, told = len(first.sightings), len(first.ratios)
    uniform = [(1 / len(v.prior),) * len(v.prior) for v in graph.network.variables]
    return Posterior(
        states=tuple(
            before if after == flat else after
            for before, after, flat in zip(
                said.states[:count], said.states[count:], uniform, strict=True
            )
        ),
        sightings=said.sightings[seen:],
        ratio_moved=said.ratio_moved[told:],
        unweighed=tuple(i - seen for i in said.unweighed if i >= seen),
        log_evidence=said.log_evidence,
        unweighed_trials=tuple((i - seen, t) for i, t in said.unweighed_trials if i >= seen),
    )


def _tie(variable: int, mask: int, graph: Graph, memory: float) -> Tie:
    """Return what a cause says of itself later: kept as it was, or drawn anew from its prior.

    So what nobody looked at before is as likely at the retest as in a plan.
    """
    network = graph.network
    anew = (1 - memory) * belief(network.variables[variable].prior, mask)
    later = (variable + len(network.variables), mask)
    return Tie(before=(variable, mask), later=later, stays=memory + anew, comes=anew)


def memory_of(graph: Graph, mode: Mode, days: int) -> float:
    """Return the part of what was known of a cause that still holds after so many days."""
    numbers = next(rule for rule in graph.rules.values() if rule.kind == "cause_stays").numbers
    half_life = numbers[mode]
    if not half_life:
        return LONGEST_MEMORY
    left: float = 0.5 ** (days / WEEK / half_life)
    return round(min(LONGEST_MEMORY, max(SHORTEST_MEMORY, left)), 9)


def _twice(network: Network) -> Network:
    """Return the network and its copy, kept for the last few networks; see `infer` on identity."""
    for known, made in _doubled:
        if known is network:
            return made
    count = len(network.variables)
    made = structs.replace(
        network,
        variables=(*network.variables, *(_later_variable(v) for v in network.variables)),
        events=(*network.events, *(_later_event(e, count) for e in network.events)),
        # a cause and its later self stand side by side, as their tie joins them
        order=tuple(place for v in network.order for place in (v, v + count)),
    )
    _doubled.append((network, made))
    del _doubled[:-_DOUBLED_AT_MOST]
    return made


def _later_variable(variable: Variable) -> Variable:
    """Return the same cause later: what is known of it before looking comes through its tie."""
    states = len(variable.prior)
    return structs.replace(variable, id=f"{variable.id} later", prior=(1 / states,) * states)


def _later_event(event: Event, count: int) -> Event:
    parents: tuple[Parent, ...] = tuple(
        structs.replace(parent, variable=parent.variable + count) for parent in event.parents
    )
    return structs.replace(event, id=f"{event.id} later", parents=parents)


def _masks(variable: Variable) -> tuple[int, ...]:
    return (LEFT, RIGHT) if variable.sided else (ANY,)


def _touched(evidence: Evidence, network: Network) -> set[Place]:
    """Return every cause and side that the evidence speaks of."""
    events = [seen.event for seen in evidence.sightings]
    events += [seen.event for seen in evidence.absences]
    found = {(p.variable, p.mask) for event in events for p in network.events[event].parents}
    found.update(target for ratio in evidence.ratios for target in ratio.targets)
    found.update((fact.variable, fact.mask) for fact in evidence.fixed)
    return found


def _both(first: Evidence, last: Evidence, network: Network) -> Evidence:
    """Return the evidence of both screens, the later one about the copies."""
    events, causes = len(network.events), len(network.variables)
    sightings: list[Sighting] = [
        structs.replace(seen, event=seen.event + events) for seen in last.sightings
    ]
    absences: list[Absence] = [
        structs.replace(seen, event=seen.event + events) for seen in last.absences
    ]
    ratios: list[LikelihoodRatio] = [
        structs.replace(one, targets=tuple((v + causes, m) for v, m in one.targets))
        for one in last.ratios
    ]
    fixed: list[Fixed] = [
        structs.replace(fact, variable=fact.variable + causes) for fact in last.fixed
    ]
    return Evidence(
        sightings=(*first.sightings, *sightings),
        absences=(*first.absences, *absences),
        ratios=(*first.ratios, *ratios),
        fixed=(*first.fixed, *fixed),
    )
