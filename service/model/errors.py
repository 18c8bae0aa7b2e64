"""Everything this project raises, drawn as a tree.

MovewrightError
├── PackError        the knowledge cannot be compiled: carries every fault found
└── SettingError     a setting of the command line or environment is wrong
"""

from msgspec import Struct


class PackFault(Struct, frozen=True, kw_only=True, order=True):
    """One thing wrong in the pack: where it is, what is wrong, and what to do."""

    file: str
    record: str
    field: str
    check: str
    wrong: str
    do: str

    def __str__(self) -> str:
        """One line for a person."""
        where = f"{self.file}: {self.record or '(file)'}"
        if self.field:
            where += f", `{self.field}`"
        return f"{where}: {self.wrong}; {self.do} [{self.check}]"


class MovewrightError(Exception):
    """Base of all errors of this project."""


class PackError(MovewrightError):
    """The pack has faults; `faults` is sorted and complete."""

    def __init__(self, faults: tuple[PackFault, ...]) -> None:
        super().__init__(f"the pack has {len(faults)} faults")
        self.faults = faults

    def __str__(self) -> str:
        """All faults, one a line."""
        return "\n".join([super().__str__(), *map(str, self.faults)])


class SettingError(MovewrightError):
    """A setting is wrong; the text names it."""
