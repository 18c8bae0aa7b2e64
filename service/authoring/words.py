"""Reports as lines for a person. Apart from making them, which knows no prose."""

from collections.abc import Iterator

from service.authoring.comparison import Comparison, ScreenChange
from service.authoring.counts import Counts
from service.authoring.coverage import Coverage
from service.authoring.run import CaseReport
from service.compiler.difference import Scalar

LONGEST = 72


def counts_lines(counts: Counts, compile_s: float) -> str:
    """Return the figures of a pack, one a line."""
    lines = ["Live records by kind (drafts and retired ones in brackets):"]
    for one in counts.kinds:
        rest = f"  ({one.draft} draft, {one.retired} retired)" if one.draft + one.retired else ""
        lines.append(f"  {one.kind:<10} {one.live:>5}{rest}")
    aims = ", ".join(f"{n} {aim}" for aim, n in counts.drills_by_aim.items())
    lines += [
        f"Drills by aim: {aims}.",
        f"Ladders of three rungs or more: {counts.ladders_of_three}.",
    ]
    lines.append("Numbers of live records by what they rest on, the muscle table apart:")
    for basis in counts.numbers:
        lines.append(f"  {basis.basis:<10} {basis.numbers:>5}  {basis.share:.1%}")
    lines.append(f"Numbers of the muscle table: {counts.muscle_table_numbers}, all from the model.")
    lines.append(f"Links that stand against the muscle table: {len(counts.disagreements)}.")
    for link in counts.disagreements:
        lines.append(f"  {link.link} at {link.posture or 'no posture'}: {link.says}")
    lines.append(f"Drills without a picture: {', '.join(counts.without_picture) or 'none'}.")
    lines.append(f"Compiled in {compile_s:.2f} s.")
    return "\n".join(lines)


def comparison_lines(found: Comparison) -> str:
    """Return what differs between two packs: records first, then answers and their reasons."""
    return "\n".join(_comparison(found))


def _comparison(found: Comparison) -> Iterator[str]:
    yield f"Old: {found.old.name} {found.old.version}, {found.old.digest[:12]}"
    yield f"New: {found.new.name} {found.new.version}, {found.new.digest[:12]}"
    if found.old_faults:
        count = len(found.old_faults)
        yield f"Today's checks find {count} faults in the old pack; no plan rests on them."
    yield ""
    yield f"Records that differ: {len(found.records)}."
    for record in found.records:
        yield f"- {record.kind}/{record.record}: {record.change}"
        if record.change == "changed":
            for field in record.fields:
                yield f"    {field.field}: {_short(field.old)} -> {_short(field.new)}"
    yield ""
    yield f"Screens answered differently: {len(found.answers)} of {found.screens}."
    for screen in found.answers:
        yield f"- {screen.screen}"
        for part in screen.answer:
            yield f"    {part.what}: {_short(part.old)} -> {_short(part.new)}"
        yield from (f"    {line}" for line in _due(screen))
    if found.untried:
        yield ""
        yield f"Not tried alone ({found.why}): {', '.join(found.untried)}."


def _due(screen: ScreenChange) -> Iterator[str]:
    for one in screen.due:
        does = "brings the old answer back" if one.does == "whole" else "changes the answer"
        yield f"due to {one.kind}/{one.record}: put back alone, it {does}"
    if not screen.due:
        yield "due to several records together: none of them, put back alone, changes it"


def _short(value: Scalar) -> str:
    if value is None:
        return "nothing"
    text = str(value)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


def cases_lines(report: CaseReport) -> str:
    """Return each case that does not hold with what it misses, then the counts."""
    return "\n".join(_cases(report))


def _cases(report: CaseReport) -> Iterator[str]:
    for one in report.outcomes:
        if one.misses:
            yield f"{one.case}: does not hold"
            yield f"    it says: {one.says} ({one.origin})"
            yield from (f"    - {miss}" for miss in one.misses)
    if report.coverage is not None:
        yield from _coverage(report.coverage)
    yield f"{report.held} cases hold, {report.missed} do not ({report.pack.version})."


def _coverage(coverage: Coverage) -> Iterator[str]:
    yield f"Live records at work in some answer ({coverage.screens} screens):"
    yield f"  {'kind':<10} {'live':>5} {'by cases':>9} {'by any':>7}"
    for kind in coverage.kinds:
        yield f"  {kind.kind:<10} {kind.live:>5} {kind.by_cases:>9} {kind.by_all:>7}"
    for kind in coverage.kinds:
        if kind.idle and kind.kind == "sources":
            yield f"Sources that nothing at work cites, which is no fault: {len(kind.idle)}."
        elif kind.idle:
            yield f"Idle {kind.kind}: {', '.join(kind.idle)}."
