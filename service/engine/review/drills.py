"""What to do with each drill that was done: harder, the same, easier, or another.

Apart from the comparison because here what changed meets how the drill was for the client.
"""

from collections.abc import Iterator, Mapping
from typing import get_args

from msgspec import Struct, structs

from service.engine.reasons import NOTHING
from service.engine.safety import Safety
from service.engine.words import Words
from service.model.answer import Rung
from service.model.graph import Graph
from service.model.knowledge import DrillRecord, RuleRecord
from service.model.quantities import Level, RegionId
from service.model.review import (
    Done,
    DrillDecision,
    DrillReview,
    FindingReview,
    MeasureReview,
)
from service.model.screen import Screen

WEEK = 7
LEVELS: tuple[Level, ...] = get_args(Level)
"""From the lowest up."""


class Changed(Struct, frozen=True, kw_only=True, gc=False):
    """What the two screens say, as far as a drill's causes need it. `days` is None if not told."""

    days: int | None
    findings: tuple[FindingReview, ...]
    measures: tuple[MeasureReview, ...]
    sorer: frozenset[RegionId]
    """Regions in which pain rose."""


def drills_of(
    done: tuple[Done, ...],
    changed: Changed,
    screen: Screen,
    safety: Safety,
    graph: Graph,
    words: Words,
) -> tuple[DrillReview, ...]:
    """Return a review of each drill that the pack knows, by drill; `screen` is the retest."""
    return tuple(_Reviewer(done, changed, screen, safety, graph, words).all())


class _Reviewer:
    """One review: what was done stays the same while its drills are gone through."""

    def __init__(
        self,
        done: tuple[Done, ...],
        changed: Changed,
        screen: Screen,
        safety: Safety,
        graph: Graph,
        words: Words,
    ) -> None:
        self.done = merged(done, graph)
        self.changed = changed
        self.screen = screen
        self.safety = safety
        self.graph = graph
        self.words = words
        self.rungs = {r: ladder.rungs for ladder in graph.ladders.values() for r in ladder.rungs}
        self.rules: Mapping[str, RuleRecord] = {r.kind: r for r in graph.rules.values()}

    def all(self) -> Iterator[DrillReview]:
        """Yield the reviews, by drill."""
        for drill in sorted(self.done):
            yield self._review(self.graph.drills[drill], self.done[drill])

    def _review(self, drill: DrillRecord, done: Done) -> DrillReview:
        decision, code, rule = self._decide(drill, done)
        other = self._other(drill, decision)
        if decision in ("easier", "swap") and other is None and code != "drill_pain_stop":
            # there is nothing to go to: the same drill, with less of it
            decision, code = "keep", "drill_less"
        if decision == "harder" and other is None:
            decision, code = "keep", "drill_top"
        because = structs.replace(
            NOTHING,
            code=code,
            text=self.words.say(f"review_{code}", pain=done.pain or 0, sessions=done.sessions or 0),
            cause=_main(drill),
            rule=self.rules[rule].id if rule else None,
            sources=self.rules[rule].sources if rule else (),
        )
        return DrillReview(
            drill=drill.id,
            name=drill.name,
            decision=decision,
            next=Rung(drill=other.id, name=other.name) if other else None,
            because=(because,),
        )

    def _decide(self, drill: DrillRecord, done: Done) -> tuple[DrillDecision, str, str]:
        """Return the decision, what to say, and the kind of rule it rests on."""
        pain = self.rules["drill_pain"].numbers
        if (done.pain or 0) >= pain["stop_from"]:
            return "swap", "drill_pain_stop", "drill_pain"
        if (done.pain or 0) >= pain["easier_from"]:
            return "easier", "drill_pain_easier", "drill_pain"
        if self.changed.sorer.intersection(drill.loads):
            return "easier", "drill_pain_rose", "pain_rose"
        if done.felt == "hard":
            return "easier", "drill_hard", "rung_progression"
        enough = self._enough(done)
        if enough and self._had_its_time(drill) and self._changed_nothing(drill):
            return "swap", "drill_no_change", "no_change"
        if any(f.over_corrected for f in self._served(drill)[0]):
            return "keep", "drill_over", "over_correction"
        if done.felt is None:
            return "keep", "drill_felt_unknown", ""
        ready = done.felt == "easy" or (self._improved(drill) and self._weeks_on(drill))
        if not ready:
            return "keep", "drill_right", "rung_progression"
        if not enough:
            return "keep", "drill_too_few", "rung_progression"
        if self._next_was_hard(drill, pain["easier_from"]):
            return "keep", "drill_next_was_hard", "rung_progression"
        code = "drill_easy" if done.felt == "easy" else "drill_improved"
        return "harder", code, "rung_progression"

    def _enough(self, done: Done) -> bool:
        """Say if it was done often enough to judge; sessions that were not told are taken so."""
        return done.sessions is None or done.sessions >= self._progression["sessions"]

    @property
    def _progression(self) -> Mapping[str, int]:
        return self.rules["rung_progression"].numbers

    def _weeks_on(self, drill: DrillRecord) -> bool:
        days = self.changed.days
        return days is not None and days >= WEEK * self._progression[drill.aim]

    def _had_its_time(self, drill: DrillRecord) -> bool:
        """Say if a change of what it mainly serves usually shows by now."""
        days = self.changed.days
        weeks = self.rules["no_change"].numbers[self.graph.causes[_main(drill)].mode]
        return days is not None and weeks > 0 and days >= WEEK * weeks

    def _served(self, drill: DrillRecord) -> tuple[list[FindingReview], list[MeasureReview]]:
        """Return what the drill's main cause shows in: findings linked to it, measures of it."""
        main = _main(drill)
        findings = [f for f in self.changed.findings if (main, f.finding) in self.graph.link_of]
        measures = [
            m
            for m in self.changed.measures
            if any(s.cause == main for s in self.graph.measures[m.measure].speaks_for)
        ]
        return findings, measures

    def _changed_nothing(self, drill: DrillRecord) -> bool:
        findings, measures = self._served(drill)
        if not findings and not any(m.real_change is not None for m in measures):
            return False
        return not self._improved(drill)

    def _improved(self, drill: DrillRecord) -> bool:
        findings, measures = self._served(drill)
        return any(f.outcome == "improved" for f in findings) or any(
            m.real_change and m.direction == "better" for m in measures
        )

    def _next_was_hard(self, drill: DrillRecord, pain_from: int) -> bool:
        """Say if the next rung was tried too, and was too much: then this is the client's rung."""
        rungs = self.rungs.get(drill.id, (drill.id,))
        place = rungs.index(drill.id)
        tried = [self.done[r] for r in rungs[place + 1 :] if r in self.done]
        return any(one.felt == "hard" or (one.pain or 0) >= pain_from for one in tried)

    def _other(self, drill: DrillRecord, decision: DrillDecision) -> DrillRecord | None:
        """Return the drill to go on with, if it is another and can be done today.

        One with a helper is no rung to go on to: it is followed by the plain form in any plan.
        """
        if decision == "keep":
            return None
        rungs = self.rungs.get(drill.id, (drill.id,))
        place = rungs.index(drill.id)
        if decision == "harder":
            near = [self.graph.drills[r] for r in rungs[place + 1 :]]
        elif decision == "easier":
            near = [self.graph.drills[r] for r in reversed(rungs[:place])]
        else:
            near = sorted(
                (
                    d
                    for d in self.graph.drills.values()
                    if d.id not in rungs and self._alike(d, drill)
                ),
                key=lambda d: (-_effect(d, _main(drill)), d.id),
            )
        return next((one for one in near if self._can_be_done(one)), None)

    def _alike(self, other: DrillRecord, drill: DrillRecord) -> bool:
        """Say if another drill may take the place: same aim, same cause, of no ladder done."""
        same = other.aim == drill.aim and _effect(other, _main(drill)) > 0
        new = not any(rung in self.done for rung in self.rungs.get(other.id, (other.id,)))
        return same and other.pattern == drill.pattern and new

    def _can_be_done(self, drill: DrillRecord) -> bool:
        screen = self.screen
        return (
            drill.helper is None
            and drill.id not in self.safety.closed
            and drill.id not in screen.avoid
            and any(set(way) <= set(screen.kit) for way in drill.kit)
            and LEVELS.index(drill.level) <= LEVELS.index(screen.client.level)
            and (drill.remote or screen.setting == "in_person")
        )


def left_behind(reviews: tuple[DrillReview, ...], graph: Graph) -> frozenset[str]:
    """Return the drills that the next plan does without: of each ladder that was worked on, every
    rung but the ones to go on with.
    """
    rungs = {r: ladder.rungs for ladder in graph.ladders.values() for r in ladder.rungs}
    found: set[str] = set()
    for one in reviews:
        found.update(rungs.get(one.drill, (one.drill,)))
    kept = {one.drill for one in reviews if one.decision == "keep"}
    return frozenset(found - kept - {one.next.drill for one in reviews if one.next is not None})


def merged(done: tuple[Done, ...], graph: Graph) -> dict[str, Done]:
    """Return what was done by drill; told twice, sessions add up and the harder time counts."""
    found: dict[str, Done] = {}
    for one in sorted(done, key=_telling):
        if one.drill not in graph.drills:
            continue
        held = found.get(one.drill)
        if held is not None:
            told = [n for n in (held.sessions, one.sessions) if n is not None]
            one = structs.replace(
                one,
                sessions=sum(told) if told else None,
                felt=one.felt or held.felt,
                pain=max((p for p in (held.pain, one.pain) if p is not None), default=None),
            )
        found[one.drill] = one
    return found


def _telling(one: Done) -> tuple[str, int, int, int]:
    """Order by drill, then from easy to hard, so that order in the request does not matter."""
    felt = (None, "easy", "right", "hard").index(one.felt)
    return one.drill, felt, one.pain or 0, one.sessions or 0


def _main(drill: DrillRecord) -> str:
    """Return the cause that it serves most, ties by id."""
    return min(drill.trains, key=lambda t: (-t.effect, t.cause)).cause


def _effect(drill: DrillRecord, cause: str) -> float:
    return max((t.effect for t in drill.trains if t.cause == cause), default=0.0)
