"""Live records without what they say of drafts, so that nothing served leads nowhere.

Apart from freezing because the digest is taken of the records as written.
"""

from collections.abc import Mapping
from typing import TypeVar

from msgspec.structs import replace

from service.compiler.draft import Records
from service.model.knowledge import Eye, FindingRecord

_K = TypeVar("_K", bound=str)
_V = TypeVar("_V")


def served(live: Records) -> Records:
    """Return the live records; entries about movements and findings that are not live are out."""
    movements = frozenset(live.movements)
    watched = frozenset(m.id for m in live.movements.values() if m.watched)
    return replace(
        live,
        movements={
            key: replace(m, speaks_for=_kept(m.speaks_for, movements))
            for key, m in live.movements.items()
        },
        findings={key: _of_finding(f, movements, watched) for key, f in live.findings.items()},
        links={
            key: replace(link, strengths=_kept(link.strengths, watched))
            for key, link in live.links.items()
        },
        changes={
            key: replace(
                change,
                movements=tuple(m for m in change.movements if m in watched),
                persistence=tuple(
                    row for row in change.persistence if row.finding in (None, *live.findings)
                ),
            )
            for key, change in live.changes.items()
        },
        drills={
            key: replace(drill, carries_to=_kept(drill.carries_to, movements))
            for key, drill in live.drills.items()
        },
    )


def _of_finding(
    finding: FindingRecord, movements: frozenset[str], watched: frozenset[str]
) -> FindingRecord:
    eyes = [_of_eye(eye, watched) for eye in finding.eyes]
    return replace(
        finding,
        weights=_kept(finding.weights, movements),
        eyes=tuple(eye for eye in eyes if eye.movements),
    )


def _of_eye(eye: Eye, watched: frozenset[str]) -> Eye:
    return replace(eye, movements=tuple(m for m in eye.movements if m in watched))


def _kept(table: Mapping[_K, _V], ids: frozenset[str]) -> dict[_K, _V]:
    return {key: value for key, value in table.items() if key in ids}
