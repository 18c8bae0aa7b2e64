"""What a golden case may say, and how cases are read. Apart from running them, because cases are
written by people who read TOML and no Python: every field stands here, once, with its meaning.
"""

import tomllib
from pathlib import Path
from typing import Literal

import msgspec
from msgspec import Struct

from service.compiler.decode import convert, faults_of
from service.model.errors import SettingError
from service.model.knowledge import Load
from service.model.quantities import (
    Aim,
    ChangeId,
    FindingId,
    LeftOutReason,
    MeasureId,
    MovementId,
    RegionId,
    Side,
    TargetId,
    Urgency,
    Verdict,
)
from service.model.screen import Screen


class Written(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Anything written in a case: a field that is not known is a fault."""


class Bound(Written, frozen=True, kw_only=True):
    """Bounds on one number of a cause; `side` only where the cause is on one side."""

    cause: str
    side: Side | None = None
    least: float = 0.0
    most: float = 2.0
    finding: FindingId | None = None
    """For a share: of which finding."""


class Reason(Written, frozen=True, kw_only=True):
    """A reason among those of a cause. Whatever is given must agree."""

    cause: str
    code: str | None = None
    side: Side | None = None
    finding: FindingId | None = None
    change: ChangeId | None = None
    measure: MeasureId | None = None
    speaks: Literal["for", "against"] | None = None


class Kept(Written, frozen=True, kw_only=True):
    """An entry of what was left out. Whatever is given must agree."""

    reason: LeftOutReason
    by: str | None = None
    """Words that stand in its detail."""
    drill: str | None = None


class Referred(Written, frozen=True, kw_only=True):
    """A referral. Whatever is given must agree."""

    id: str
    region: RegionId | None = None
    urgency: Urgency | None = None


class Looked(Written, frozen=True, kw_only=True):
    """Something to look at. Whatever is given must agree."""

    movement: MovementId | None = None
    finding: FindingId | None = None
    change: ChangeId | None = None
    measure: MeasureId | None = None


class Expect(Written, frozen=True, kw_only=True):
    """What must hold of the answer. What is not written is not asked."""

    verdict: Verdict | None = None
    target: TargetId | None = None
    leads: str | None = None
    """The cause, or its stem, at the top."""
    leads_side: Side | None = None
    above: tuple[tuple[str, str], ...] = ()
    """Pairs: the first is listed, and ranks above the second, which may be missing."""
    times: tuple[tuple[str, str, float], ...] = ()
    """The first weighs at least so many times what the second weighs."""
    listed: tuple[str, ...] = ()
    not_listed: tuple[str, ...] = ()
    belief: tuple[Bound, ...] = ()
    weight: tuple[Bound, ...] = ()
    share: tuple[Bound, ...] = ()
    reasons: tuple[Reason, ...] = ()
    no_reasons: tuple[Reason, ...] = ()
    session: bool | None = None
    aims: tuple[Aim, ...] | None = None
    """The aims of all steps, in order."""
    has_aims: tuple[Aim, ...] = ()
    no_aims: tuple[Aim, ...] = ()
    most_of: tuple[tuple[Aim, int], ...] = ()
    """At most so many steps of an aim."""
    load_most: Load | None = None
    """No step asks for more load than this."""
    rungs: tuple[tuple[str, str], ...] = ()
    """Pairs: the first is planned, and the second is named as its easier or harder neighbour."""
    steps_least: int = 0
    steps_most: int = 20
    trains: tuple[str, ...] = ()
    """Causes, each served by some step."""
    trains_any: tuple[str, ...] = ()
    """Causes of which at least one is served by some step."""
    not_trains: tuple[str, ...] = ()
    drills_any: tuple[str, ...] = ()
    no_drills: tuple[str, ...] = ()
    first_side: Side | None = None
    """Every step that is done side by side starts on this one, with more sets."""
    no_loads: tuple[RegionId, ...] = ()
    """No step loads these regions."""
    kit_used: tuple[str, ...] = ()
    kit_not_used: tuple[str, ...] = ()
    step_reasons: tuple[str, ...] = ()
    """Codes that occur among the reasons of the steps."""
    left_out: tuple[Kept, ...] = ()
    cautions: tuple[str, ...] = ()
    referrals: tuple[Referred, ...] = ()
    no_referrals: bool = False
    warnings: tuple[str, ...] = ()
    no_warnings: tuple[str, ...] = ()
    look_at: tuple[Looked, ...] = ()
    looks: bool | None = None
    """Whether there is anything to look at."""
    retest_measures: tuple[MeasureId, ...] = ()
    carry_over: tuple[str, ...] = ()
    """Words that stand somewhere in the carry-over."""
    words: tuple[str, ...] = ()
    """Words that stand somewhere in the answer."""
    no_words: tuple[str, ...] = ()
    more_than_beside: tuple[str, ...] = ()
    """Causes that weigh more here than in the screen beside."""
    less_than_beside: tuple[str, ...] = ()
    believed_more: tuple[str, ...] = ()
    """Causes more likely here than in the screen beside."""
    believed_less: tuple[str, ...] = ()
    causes_as_beside: bool = False
    session_as_beside: bool = False


class Case(Written, frozen=True, kw_only=True):
    """One golden case: `beside` is another screen that this one is held against."""

    id: str
    says: str
    origin: str
    fact: str = ""
    """Id and wording of the fact of common practice, where it rests on one."""
    screen: Screen
    beside: Screen | None = None
    expect: Expect


def read_cases(folder: Path) -> tuple[Case, ...]:
    """Return every case of every *.toml in a folder, sorted by id.

    Raise SettingError with every fault of every file, or where there is no case at all.
    """
    found: dict[str, Case] = {}
    faults: list[str] = []
    for path in sorted(folder.glob("*.toml")):
        for raw in _tables(path, faults):
            wrong = [f"{field or 'case'}: {what}" for field, what in faults_of(raw, Case)]
            name = raw.get("id", "?") if isinstance(raw, dict) else "?"
            faults += [f"{path.name}: {name}, {one}" for one in wrong]
            case = None if wrong else _converted(raw, f"{path.name}: {name}", faults)
            if case is not None and case.id in found:
                faults.append(f"{path.name}: {case.id}, id: stands twice; rename one")
            elif case is not None:
                found[case.id] = case
    if not found and not faults:
        faults.append(f"{folder.name}/: holds no case; write [[cases]] into a *.toml there")
    if faults:
        raise SettingError("\n".join(faults))
    return tuple(sorted(found.values(), key=lambda case: case.id))


def _converted(raw: object, where: str, faults: list[str]) -> Case | None:
    try:
        return convert(raw, Case)
    except msgspec.ValidationError as error:
        faults.append(f"{where}, {error}")
        return None


def _tables(path: Path, faults: list[str]) -> list[object]:
    try:
        raw = tomllib.loads(path.read_bytes().decode())
    except UnicodeDecodeError as error:
        faults.append(f"{path.name}: is not UTF-8 at byte {error.start}")
        return []
    except tomllib.TOMLDecodeError as error:
        faults.append(f"{path.name}: is not TOML: {error}")
        return []
    faults += [
        f"{path.name}: `{key}` does not belong here; write [[cases]]"
        for key in raw
        if key != "cases"
    ]
    tables = raw.get("cases", [])
    if isinstance(tables, list):
        return tables
    faults.append(f"{path.name}: `cases` is one table, not an array; write [[cases]]")
    return []
