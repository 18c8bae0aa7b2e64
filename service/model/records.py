"""Bases of the engine's own records: what they hold is never part of the contract.

Apart from the records because options of a class survive compiling only where they are inherited
(see DEVELOPERS.md, compiled engine).
"""

from msgspec import Struct


class Frozen(Struct, frozen=True):
    """A record that does not change."""


class Leaf(Struct, frozen=True, gc=False):
    """The same where it can be part of no cycle: the collector need not know of it."""


class Ordered(Struct, frozen=True, order=True):
    """The same, compared field by field."""
