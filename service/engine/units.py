"""Measurements in the unit of their measure, where another unit can be turned into it.

Apart from the weighing because everything that reads a number must read the same one: the
alerts, the causes and the comparison of two days.
"""

import math

from msgspec.structs import replace

from service.model.graph import Graph
from service.model.quantities import Unit
from service.model.screen import Measurement, Screen

FACTORS: dict[tuple[str, str], float] = {
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
    measures, same = graph.measures, True
    found = []
    for one in screen.measurements:
        record = measures.get(one.measure)
        now = one if record is None else _converted(one, record.unit)
        same = same and now is one
        found.append(now)
    return screen if same else replace(screen, measurements=tuple(found))


def _converted(one: Measurement, unit: Unit) -> Measurement:
    """Return the measurement in such a unit, as it is where none leads there."""
    own = one.unit
    factor = None if own == unit else FACTORS.get((own, unit))
    if factor is None:
        return one
    spread = one.spread if one.spread is None else round(one.spread * factor, DIGITS)
    return replace(one, unit=unit, value=round(one.value * factor, DIGITS), spread=spread)
