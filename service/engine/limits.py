"""What stands before and beside a plan, in words: referrals, cautions, warnings."""

from service.engine.looks import Note
from service.engine.read import Reading
from service.engine.safety import Safety
from service.engine.words import Words
from service.model.answer import CautionAnswer, Referral, Warning
from service.model.graph import Graph
from service.model.network import Posterior


def referrals_of(safety: Safety, graph: Graph) -> tuple[Referral, ...]:
    """Return who should be seen, most urgent first."""
    found = []
    for held in safety.referrals:
        record = graph.alerts[held.by] if held.alert else graph.cautions[held.by]
        found.append(
            Referral(
                id=held.by,
                region=held.region,
                side=held.side,
                urgency=held.urgency,
                text=record.say,
                sources=record.sources,
            )
        )
    return tuple(found)


def cautions_of(safety: Safety, graph: Graph) -> tuple[CautionAnswer, ...]:
    """Return the limits that today respects, by id."""
    return tuple(
        CautionAnswer(
            id=held.caution,
            region=held.region,
            side=held.side,
            text=graph.cautions[held.caution].say,
            sources=graph.cautions[held.caution].sources,
        )
        for held in safety.cautions
    )


def warnings_of(
    reading: Reading, posterior: Posterior | None, graph: Graph, words: Words
) -> tuple[Warning, ...]:
    """Return what was not asked, not used or not weighed, by pointer and code."""
    notes = [*reading.notes, *_unweighed(reading, posterior, graph)]
    if not notes:
        return ()
    found = [
        Warning(code=note.code, pointer=note.pointer, text=_text(note, graph, words))
        for note in notes
    ]
    return tuple(sorted(found, key=lambda w: (w.pointer, w.code, w.text)))


def _unweighed(reading: Reading, posterior: Posterior | None, graph: Graph) -> list[Note]:
    notes = []
    relevances = [s.relevance for s in reading.evidence.sightings]
    if relevances and not any(relevances):
        notes.append(Note(code="nothing_for_target", pointer="/target"))
    if posterior is None:
        return notes
    left_out = [("unweighed", n) for n in posterior.unweighed]
    left_out += [("unweighed_trial", n) for n, _ in posterior.unweighed_trials]
    for code, n in left_out:
        key = graph.events[reading.positives[n].event]
        values = (("finding", key.finding), ("movement", key.movement))
        notes.append(Note(code=code, pointer="/observations", values=values))
    return notes


def _text(note: Note, graph: Graph, words: Words) -> str:
    values = dict(note.values)
    if "nearest" in values:
        near = values["nearest"]
        values["nearest"] = (
            words.say("nearest", nearest=near) if near else words.say("nearest_none")
        )
    if values.get("movement") in graph.movements:
        values["movement"] = words.name(graph.movements[values["movement"]].name)
    if values.get("finding") in graph.findings:
        values["finding"] = words.name(graph.findings[values["finding"]].name)
    return words.say(f"warn_{note.code}", **values)
