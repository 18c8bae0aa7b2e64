"""Measurements in the unit of their measure, where another unit can be turned into it.

Apart from the weighing because everything that reads a number must read the same one: the
alerts, the causes and the comparison of two days.
"""

import math
from collections.abc import Mapping

from msgspec.structs import replace

from service.model.graph import Graph
from service.model.screen import Measurement, Screen

FACTORS: Mapping[tuple[str, str], float] = {
    ("[in_i]", "cm"): 2.54,
    ("kPa", "mm[Hg]"): 1000 / 133.322,
    ("m", "cm"): 100.0,
    ("min", "s"): 60.0,
    ("mm", "cm"): 0.1,
    ("rad", "deg"): 180 / math.pi,
}
"""From a unit to another, by the definitions of UCUM, whose signs these are."""
DIGITS = 9


def in_pack_units(screen: Screen, graph: Graph) -> Screen:
    """Return the screen with every measurement that converts in its measure's unit."""
    if not screen.measurements:
        return screen
    found = tuple(_converted(one, graph) for one in screen.measurements)
    same = all(a is b for a, b in zip(found, screen.measurements, strict=True))
    return screen if same else replace(screen, measurements=found)


def _converted(one: Measurement, graph: Graph) -> Measurement:
    record = graph.measures.get(one.measure)
    factor = None if record is None else FACTORS.get((one.unit, record.unit))
    if record is None or factor is None:
        return one
    spread = one.spread if one.spread is None else round(one.spread * factor, DIGITS)
    return replace(one, unit=record.unit, value=round(one.value * factor, DIGITS), spread=spread)
