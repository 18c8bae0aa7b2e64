"""What a set is worth, cause by cause, while options come in and go out again.

Apart from the search because it is the arithmetic that every node asks for: plain integers, and
only of the causes that weigh.
"""

from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from service.engine.exchange import Parts
from service.engine.kept import Keeper
from service.model.quantities import MICRO

if TYPE_CHECKING:
    from mypy_extensions import i64

Curve = tuple[tuple[int, int], ...]


class _Piece:
    """One straight piece of the curve of returns: where it begins, its rise on its run."""

    def __init__(self, x: int, y: int, run: int, rise: int) -> None:
        self.x: i64 = x
        self.y: i64 = y
        self.run: i64 = run
        self.rise: i64 = rise
        self.end: i64 = x + run


def _pieces(curve: Curve) -> list[_Piece]:
    return [_Piece(x0, y0, x1 - x0, y1 - y0) for (x0, y0), (x1, y1) in pairwise(curve)]


_PIECES = Keeper(_pieces)


class Cause:
    """A cause that weighs: its place, the sum of effects of the set in hand, and its value."""

    def __init__(self, at: int, weight: int) -> None:
        self.at = at
        self.weight: i64 = weight
        self.sum: i64 = 0
        self.now: i64 = 0


class Part:
    """What an option does to one cause."""

    def __init__(self, cause: Cause, effect: int) -> None:
        self.cause = cause
        self.effect: i64 = effect


class Sums:
    """The summed effects of the set in hand on each cause that an option serves."""

    def __init__(self, parts: list[Parts], weights: tuple[int, ...], curve: Curve) -> None:
        """`parts` are by option the effects that weigh."""
        self.micro: i64 = MICRO
        self.pieces = _PIECES.of(curve)
        self.most: i64 = curve[-1][1]
        self.causes: list[Cause] = []
        self.parts: list[list[Part]] = []
        known: list[Cause | None] = [None] * len(weights)
        for effects in parts:
            own: list[Part] = []
            for i, effect in effects:
                cause = known[i]
                if cause is None:
                    cause = known[i] = Cause(len(self.causes), weights[i])
                    self.causes.append(cause)
                own.append(Part(cause, effect))
            self.parts.append(own)

    def _worth(self, weight: "i64", effect: "i64") -> "i64":
        """Return the value of a summed effect on a cause, as `exchange.returns` has it."""
        for piece in self.pieces:
            if effect < piece.end:
                part: i64 = piece.y + (effect - piece.x) * piece.rise // piece.run
                return weight * part // self.micro
        return weight * self.most // self.micro

    def gain(self, option: "i64") -> "i64":
        """Return exactly what the option adds to the value of the set, but for its price."""
        total: i64 = 0
        for part in self.parts[option]:
            cause = part.cause
            total += self._worth(cause.weight, cause.sum + part.effect) - cause.now
        return total

    def count(self, option: "i64", sign: Literal[1, -1]) -> None:
        """Add the option to the sums, or take it out of them."""
        for part in self.parts[option]:
            cause = part.cause
            cause.sum += sign * part.effect
            cause.now = self._worth(cause.weight, cause.sum)
