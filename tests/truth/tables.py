"""The published tables as the truth tests read them.

Apart from the tests so that each of them reads a row by its id and nothing else.
"""

import csv
import math
import re
from functools import cache
from pathlib import Path

DATA = Path(__file__).parent / "data"
MDC_PER_SEM = 1.96 * math.sqrt(2)
"""MDC95 = 1.96 * sqrt(2) * SEM."""


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of a table by their column names."""
    with (DATA / f"{name}.tsv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE))


def published(row_id: str) -> dict[str, str]:
    """Return one row of the published values."""
    return next(row for row in rows("published_values") if row["id"] == row_id)


def figures(text: str) -> tuple[str, ...]:
    """Return the numbers of a printed value, before any bracket, as they are printed."""
    return tuple(re.findall(r"(?<![\w.])\d+(?:\.\d+)?", text.split("(")[0]))
