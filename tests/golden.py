"""The project's own golden cases, read by the same code that runs a coach's."""

from pathlib import Path

from service.authoring.cases import Case, read_cases

CASES = Path(__file__).parent / "cases"


def golden_cases() -> tuple[Case, ...]:
    """Return every case, sorted by id."""
    return read_cases(CASES)
