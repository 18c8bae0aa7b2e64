"""How well the eye sees, folded into the noisy-OR: looks at one event, from one view or more.

Apart from reading because it is arithmetic that can be held against worked values.
"""

from service.model.records import Frozen, Leaf, Ordered


class Look(Ordered, frozen=True, kw_only=True):
    """One look at an event: if it was seen, and how well this view sees it."""

    seen: bool
    sensitivity: float
    specificity: float


class Fold(Frozen, frozen=True, kw_only=True):
    """A positive event with the eye inside: its leak, and the factor on every strength.

    `really` = P(there, though no listed cause made it | only the leak fired).
    """

    leak: float
    scale: float
    really: float


class Eye(Leaf, frozen=True, kw_only=True):
    """What looks at one event say together: the fold where they speak for it, else the factor of
    its absence with a leak of 0.
    """

    positive: bool
    leak: float
    scale: float
    really: float


def eye_of(looks: tuple[Look, ...], leak: float) -> Eye:
    """Return what looks say together of an event with such a leak."""
    fold = folded(looks, leak)
    if fold is None:
        return Eye(positive=False, leak=0.0, scale=absence_scale(looks), really=0.0)
    return Eye(positive=True, leak=fold.leak, scale=fold.scale, really=fold.really)


def folded(looks: tuple[Look, ...], leak: float) -> Fold | None:
    """Return the folded leak and scale of looks that speak for the event, or None if against.

    With one positive look: leak 1 - spec (1 - leak), scale (sens + spec - 1) / spec, exact for
    one sure cause. Looks are independent given what is there; together they act as one eye of
    the best sensitivity among them and the specificity that keeps their likelihood ratio, so a
    second view changes only how much the eye is trusted.
    """
    there, not_there = _likelihoods(looks)
    if there <= not_there:
        return None
    sensitivity = max(look.sensitivity for look in looks if look.seen)
    false = sensitivity * not_there / there
    specificity = 1 - false
    scale = (sensitivity - false) / specificity
    really = leak * sensitivity / (leak * sensitivity + (1 - leak) * false)
    return Fold(leak=1 - specificity * (1 - leak), scale=scale, really=really)


def absence_scale(looks: tuple[Look, ...]) -> float:
    """Return the factor on every strength for looks that speak against the event."""
    there, not_there = _likelihoods(looks)
    return max(0.0, 1 - there / not_there)


def _likelihoods(looks: tuple[Look, ...]) -> tuple[float, float]:
    """Return P(these looks | there) and P(these looks | not there)."""
    there = not_there = 1.0
    for look in looks:
        there *= look.sensitivity if look.seen else 1 - look.sensitivity
        not_there *= 1 - look.specificity if look.seen else look.specificity
    return there, not_there
