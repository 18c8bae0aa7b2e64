"""How fast this machine decides and serves: a seeded mix of screens, timed and printed.

Apart from the routes because nothing here is served, and from the tests because no time fails.
"""

from service.web.bench.measure import Timed, measure
from service.web.bench.table import lines

__all__ = ["Timed", "lines", "measure"]
