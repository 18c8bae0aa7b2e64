"""The causal network that inference runs on, what it is given, and what it gives back.

Apart from the other structs because inference knows nothing of drills, texts or clients: it
is a noisy-OR network with trials, and can be checked against any general-purpose library.

A cause is one variable. Without sides it has the states (absent, present); with sides it has
(none, left, right, both). A parent's `mask` picks the states in which it can fire: LEFT,
RIGHT, or ANY where the cause has no sides.
"""

from typing import Literal

from msgspec import Struct

LEFT: int = 1
RIGHT: int = 2
ANY: int = 1
"""State index bits: state 0 none, 1 left (or present), 2 right, 3 both."""


class Variable(Struct, frozen=True, kw_only=True, gc=False):
    """One cause: its prior over 2 or 4 states, summing to 1."""

    id: str
    sided: bool
    prior: tuple[float, ...]


class Parent(Struct, frozen=True, kw_only=True, gc=False):
    """A way for an event to be fired: variable index, state bit, strength in [0.02, 0.98].

    `persists[c]` is P(keeps firing under change c | fired), for every change of the network.
    """

    variable: int
    mask: int
    strength: float
    persists: tuple[float, ...]


class Event(Struct, frozen=True, kw_only=True, gc=False):
    """(movement, finding, side): a noisy-OR of its parents with a leak."""

    id: str
    parents: tuple[Parent, ...]
    leak: float
    leak_persists: tuple[float, ...]


class Network(Struct, frozen=True, kw_only=True, gc=False):
    """Everything that inference needs, compiled once.

    `confusion[true][reported]` over (gone, better, same). `order` is a permutation of the
    variables in which summing out keeps tables small, found when the pack is compiled; inference
    looks for the smallest table anew for each screen and breaks its ties by this order.
    `work_budget` is the most table cells that one screen may take (counted, never timed).
    `relevance[event]` orders events when the work budget binds: larger is weighed first.
    """

    variables: tuple[Variable, ...]
    events: tuple[Event, ...]
    changes: tuple[str, ...]
    confusion: tuple[tuple[float, float, float], ...]
    order: tuple[int, ...]
    work_budget: int


Report = Literal[0, 1, 2]
"""0 gone, 1 better, 2 same (or worse)."""


class Sighting(Struct, frozen=True, kw_only=True, gc=False):
    """A positive event. `scale` multiplies every strength, `leak` replaces the event's leak:
    both already hold the eye, its views and the grade.
    """

    event: int
    leak: float
    scale: float
    trials: tuple[tuple[int, Report], ...]
    relevance: float


class Absence(Struct, frozen=True, kw_only=True, gc=False):
    """An event looked for and not seen; `scale` multiplies every strength."""

    event: int
    scale: float


class LikelihoodRatio(Struct, frozen=True, kw_only=True, gc=False):
    """A measurement: `ratio` = P(value | any of these present) / P(value | none present).

    `targets` are (variable, mask) pairs.
    """

    targets: tuple[tuple[int, int], ...]
    ratio: float


class Fixed(Struct, frozen=True, kw_only=True, gc=False):
    """A cause known to be present or not, on the side of `mask`."""

    variable: int
    mask: int
    present: bool


class Tie(Struct, frozen=True, kw_only=True, gc=False):
    """What one cause says of another, side for side: the same cause some days later.

    `stays` = P(later | before), `comes` = P(later | not before), with 0 < comes < stays < 1;
    `before` and `later` are (variable, mask) pairs.
    """

    before: tuple[int, int]
    later: tuple[int, int]
    stays: float
    comes: float


class Evidence(Struct, frozen=True, kw_only=True, gc=False):
    """All that was seen, measured and told, each event at most once in both lists together.

    `ties` join two screens of one client; one screen has none.
    """

    sightings: tuple[Sighting, ...]
    absences: tuple[Absence, ...]
    ratios: tuple[LikelihoodRatio, ...]
    fixed: tuple[Fixed, ...]
    ties: tuple[Tie, ...] = ()


class ParentPosterior(Struct, frozen=True, kw_only=True, gc=False):
    """What one sighting says of one parent, in the order of the event's parents.

    `share` = P(this parent fired for this event | screen). `moved` = log odds of the parent
    being present with all evidence, minus the same with this sighting (trials included) left
    out. `trial_moved[t]` = the same with only trial t left out.
    """

    share: float
    moved: float
    trial_moved: tuple[float, ...]


class SightingPosterior(Struct, frozen=True, kw_only=True, gc=False):
    """One sighting: its parents, and the leak's part.

    `leak_share` = P(the leak fired | screen). `leak_only` = P(no parent fired | screen): the
    sighting rests on the leak alone, that is on a false look or an unlisted cause.
    """

    parents: tuple[ParentPosterior, ...]
    leak_share: float
    leak_only: float


class Posterior(Struct, frozen=True, kw_only=True, gc=False):
    """The exact posterior, every number rounded to 1e-9.

    `states[v]` has the 2 or 4 state probabilities of variable v (its prior where nothing
    speaks of it). `sightings` follow the order of the evidence, None where the work budget
    left one out (`unweighed` holds those indices, ascending). `ratio_moved[r][t]` is the log
    odds that ratio r moved its target t. `log_evidence` is ln P(evidence) up to the
    measurements' common factor and the leaks of absent events. `unweighed_trials` are the
    (sighting, trial) indices left out by the budget of sightings that were weighed; their
    `trial_moved` is 0.
    """

    states: tuple[tuple[float, ...], ...]
    sightings: tuple[SightingPosterior | None, ...]
    ratio_moved: tuple[tuple[float, ...], ...]
    unweighed: tuple[int, ...]
    log_evidence: float
    unweighed_trials: tuple[tuple[int, int], ...] = ()
