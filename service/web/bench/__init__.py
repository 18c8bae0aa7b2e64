"""How fast this machine decides and serves: a seeded mix of screens, timed and printed.

Apart from the routes because nothing here is served, and from the tests because no time fails.
"""

from service.web.bench.measure import Timed, measure
from service.web.bench.scaling import scaling
from service.web.bench.table import lines, report, scaled_lines

__all__ = ["Timed", "lines", "measure", "report", "scaled_lines", "scaling"]
