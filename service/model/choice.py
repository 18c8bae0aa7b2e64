"""The problem of choosing a session, and its solution, in integers only.

Apart from the other structs because the search knows nothing of clients or words: it can be
checked against any solver. Value, weight and effect are in millionths, time in seconds.
"""

from typing import Literal

from msgspec import Struct

from service.model.quantities import Aim


class Option(Struct, frozen=True, kw_only=True, gc=False):
    """One drill in one dose, with its real seconds (extra set included)."""

    drill: int
    """Index that orders ties: smaller is preferred (drills are sorted by id)."""
    dose: Literal[0, 1]
    """0 full, 1 short."""
    aim: Aim
    seconds: int
    effects: tuple[tuple[int, int], ...]
    """(index into the weights, effect in millionths); carry-over into the target is one more."""
    ladder: int
    """Options of one ladder exclude each other; -1 stands alone (its two doses still exclude)."""
    region: int
    pattern: int
    """-1 where it is no pattern; else the movement's index."""
    helper: bool
    """Needs a step of the same pattern without a helper in the session."""
    is_new: bool
    """Not among the drills that the client knows."""
    holds: tuple[tuple[int, int], ...]
    """(muscle index, seconds of static hold per side)."""


class Limits(Struct, frozen=True, kw_only=True, gc=False):
    """The constraints of one session."""

    seconds: int
    steps: int
    new_drills: int
    """Most options with `is_new`; a large number where the rule does not bind."""
    range_drills: int
    """Most options with aim `range`; those of one session are of different regions."""
    hold_s: int
    """Most seconds of static hold per muscle."""
    ends_in: frozenset[int]
    """A session that is not empty holds an option without a helper of one of these patterns."""
    ends_by: frozenset[Aim]
    """The aims that such an ending option may have."""
    target: int
    """The pattern that comes last where there are several; -1 for none."""
    needs_practice: bool
    """A session that is not empty holds a `practice` option of a pattern."""


class Problem(Struct, frozen=True, kw_only=True, gc=False):
    """Options, weights by cause and last that of carry-over, the returns curve, and the limits.

    `curve` has integer points (effect, part) in millionths, concave, from (0, 0); beyond the
    last point it is flat. `price` is the cost of one step.
    """

    options: tuple[Option, ...]
    weights: tuple[int, ...]
    curve: tuple[tuple[int, int], ...]
    price: int
    limits: Limits


class Choice(Struct, frozen=True, kw_only=True, gc=False):
    """The optimum: indices into the options, in session order, and its value in millionths."""

    chosen: tuple[int, ...]
    value: int
    seconds: int
