"""The weeks ahead keep every limit of every day, and go no faster than their rules say.

Over 400 lines, because every rule of the weeks is asked of the same series.
"""

from collections.abc import Iterator
from itertools import pairwise

import msgspec
import pytest

from service.engine.plan import plan
from service.engine.series import series
from service.model.answer import Answer, Session, SideDose, Step
from service.model.graph import Graph
from service.model.screen import Pain, Screen
from service.model.series import SeriesAnswer, SeriesRequest, SeriesSession, SeriesWeek
from service.web.shipped import examples
from tests.held import broken_limits, forbidden_words, rule
from tests.strategies import MIRRORED, mirrored, random_screen, shuffled

SEEDS = range(2000, 2120)
EXAMPLES = ("left_knee_nothing_helps", "remote_single_leg", "sore_knee_full_screen")


def asked(screen: Screen, seed: int, weeks: int = 0) -> SeriesRequest:
    return SeriesRequest(
        screen=screen, weeks=weeks or (4, 9, 12)[seed % 3], sessions_a_week=1 + seed % 7
    )


def made(graph: Graph, *, healthy: bool = True) -> Iterator[tuple[SeriesRequest, SeriesAnswer]]:
    """Yield series of many clients that hold at least one week."""
    for seed in SEEDS:
        request = asked(random_screen(graph, seed, healthy=healthy), seed)
        answer = series(request, graph)
        if answer.weeks:
            yield request, answer


def as_plan(answer: SeriesAnswer, session: SeriesSession, graph: Graph, base: Answer) -> Answer:
    """Return the session as an answer for one day, so that the same check can be held on it."""
    told = {one.drill: one for one in answer.drills}
    steps = tuple(
        Step(
            drill=step.drill,
            name=told[step.drill].name,
            aim=told[step.drill].aim,
            kit=told[step.drill].kit,
            sides=step.sides,
            reps=step.reps,
            tempo=told[step.drill].tempo,
            hold_s=step.hold_s,
            effort=step.effort,
            rest_s=step.rest_s,
            seconds=step.seconds,
            times_a_week=told[step.drill].times_a_week,
            cues=told[step.drill].cues,
            good_looks_like=told[step.drill].good_looks_like,
            stop_when=told[step.drill].stop_when,
            easier=None,
            harder=None,
            because=(),
        )
        for step in session.steps
    )
    day = Session(minutes=session.minutes, value=session.value, steps=steps)
    return msgspec.structs.replace(base, session=day)


@pytest.mark.parametrize("healthy", [True, False])
def test_every_session_keeps_every_limit_of_its_day(graph: Graph, healthy: bool) -> None:
    sessions = lighter = 0
    for request, answer in made(graph, healthy=healthy):
        base = plan(request.screen, graph)
        known = set(request.screen.recent)
        for week in answer.weeks:
            for session in week.sessions:
                screen = msgspec.structs.replace(request.screen, recent=tuple(known))
                faults = broken_limits(as_plan(answer, session, graph, base), screen, graph)
                if week.lighter:
                    # fewer sets than the dose has is what a lighter week is
                    faults = [fault for fault in faults if not fault.endswith(" sets")]
                assert faults == [], f"{request} day {session.day}"
                known.update(step.drill for step in session.steps)
                sessions += 1
                lighter += week.lighter
    assert sessions > 400
    assert lighter > 20


def test_nothing_that_may_not_be_said_is_said(graph: Graph) -> None:
    for language in ("de", "en"):
        for seed in SEEDS:
            screen = random_screen(graph, seed, healthy=False)
            options = msgspec.structs.replace(screen.options, language=language)
            screen = msgspec.structs.replace(screen, options=options)
            assert forbidden_words(series(asked(screen, seed, 12), graph)) == [], f"seed {seed}"


def ladders_of(graph: Graph) -> dict[str, tuple[str, ...]]:
    return {rung: one.rungs for one in graph.ladders.values() for rung in one.rungs}


def test_no_ladder_comes_more_often_than_its_dose_or_without_its_rest(graph: Graph) -> None:
    rungs, rest = ladders_of(graph), rule(graph, "rest_days")
    full = 0
    for request, answer in made(graph):
        last: dict[str, int] = {}
        for week in answer.weeks:
            times: dict[str, int] = {}
            for session in week.sessions:
                assert week.from_day <= session.day <= week.to_day
                for step in session.steps:
                    drill = graph.drills[step.drill]
                    dose = graph.doses[drill.dose].times_a_week
                    name = rungs.get(drill.id, (drill.id,))[0]
                    times[name] = times.get(name, 0) + 1
                    assert times[name] <= dose, f"{request.screen} {drill.id}"
                    full += times[name] == dose
                    if dose <= rest["up_to_times_a_week"]:
                        assert session.day - last.get(name, -9) >= rest["days"], drill.id
                    last[name] = session.day
    assert full > 100


def test_control_work_on_one_cause_never_comes_on_two_days_running(graph: Graph) -> None:
    found = 0
    for _, answer in made(graph):
        days: dict[str, set[int]] = {}
        for week in answer.weeks:
            for session in week.sessions:
                for step in session.steps:
                    drill = graph.drills[step.drill]
                    if drill.aim == "control" and graph.doses[drill.dose].times_a_week <= 3:
                        most = max(one.effect for one in drill.trains)
                        main = min(t.cause for t in drill.trains if t.effect == most)
                        days.setdefault(main, set()).add(session.day)
        for done in days.values():
            found += len(done)
            assert not any(b - a == 1 for a, b in pairwise(sorted(done)))
    assert found > 200


def usable(drill: str, screen: Screen, graph: Graph) -> bool:
    """Say if kit, level, setting and wishes allow the drill; told from the record alone."""
    record = graph.drills[drill]
    levels = ("new", "regular", "advanced")
    return (
        levels.index(record.level) <= levels.index(screen.client.level)
        and (record.remote or screen.setting == "in_person")
        and drill not in screen.avoid
        and any(set(way) <= set(screen.kit) for way in record.kit)
    )


def test_a_ladder_is_climbed_rung_by_rung_and_each_rung_has_its_time(graph: Graph) -> None:
    numbers = rule(graph, "rung_progression")
    climbed = 0
    for request, answer in made(graph):
        on: dict[str, tuple[str, int, int]] = {}
        """By ladder: the rung, the full weeks and the sessions on it."""
        for week in answer.weeks:
            done = [step.drill for session in week.sessions for step in session.steps]
            for ladder in graph.ladders.values():
                here = [drill for drill in done if drill in ladder.rungs]
                if not here:
                    continue
                assert len(set(here)) == 1, f"two rungs in week {week.week}"
                rung, weeks, times = on.get(ladder.id, (here[0], 0, 0))
                if here[0] != rung:
                    assert not week.lighter
                    assert weeks >= numbers[graph.drills[rung].aim], f"{rung} -> {here[0]}"
                    assert times >= numbers["sessions"]
                    a, b = ladder.rungs.index(rung), ladder.rungs.index(here[0])
                    assert a < b
                    between = [
                        one
                        for one in ladder.rungs[a + 1 : b]
                        if graph.drills[one].helper is None and usable(one, request.screen, graph)
                    ]
                    assert between == [], f"{between} passed over"
                    rung, weeks, times = here[0], 0, 0
                    climbed += 1
                counts = not week.lighter
                on[ladder.id] = (rung, weeks + counts, times + counts * len(here))
    assert climbed > 30


def test_an_unknown_ladder_begins_below_its_hardest_rung_and_a_known_one_no_higher(
    graph: Graph,
) -> None:
    below = known = 0
    for request, answer in made(graph):
        first = {step.drill for one in answer.weeks[0].sessions for step in one.steps}
        for ladder in graph.ladders.values():
            begun = [rung for rung in ladder.rungs if rung in first]
            if not begun or graph.drills[begun[0]].helper is not None:
                continue
            at = ladder.rungs.index(begun[0])
            met = [n for n, rung in enumerate(ladder.rungs) if rung in request.screen.recent]
            harder = [
                rung
                for rung in ladder.rungs[at + 1 :]
                if usable(rung, request.screen, graph) and graph.drills[rung].helper is None
            ]
            easier = [
                rung
                for rung in ladder.rungs[:at]
                if usable(rung, request.screen, graph) and graph.drills[rung].helper is None
            ]
            if met:
                assert at <= max(met)
                known += 1
            else:
                assert harder or not easier, f"{begun} is the hardest of {ladder.id}"
                below += bool(harder)
    assert below > 100
    assert known > 10


def test_what_was_begun_in_the_first_week_is_all_there_is_but_for_what_takes_its_place(
    graph: Graph,
) -> None:
    taken = 0
    for _, answer in made(graph):
        begun = {step.drill for one in answer.weeks[0].sessions for step in one.steps}
        for week in answer.weeks[1:]:
            for change in week.changes:
                if change.code in ("rung_up", "swapped"):
                    assert change.drill is not None and change.was in begun
                    begun.add(change.drill)
                    taken += 1
            # a rung that no session took in its own week may come in a later one
            done = {step.drill for one in week.sessions for step in one.steps}
            late = {str(c.drill) for c in week.changes if c.code == "starts"}
            assert done <= begun | late
            begun |= late
    assert taken > 30


def test_the_criteria_are_the_rules_that_these_weeks_keep(graph: Graph) -> None:
    seen: set[str] = set()
    for _, answer in made(graph):
        rules = [one.rule for one in answer.criteria]
        assert {graph.rules[one].say for one in rules} == {one.text for one in answer.criteria}
        assert {"drill_pain", "frequency", "variation"} <= set(rules)
        days = [one.day for week in answer.weeks for one in week.sessions]
        assert ("lighter_week" in rules) == any(week.lighter for week in answer.weeks)
        assert ("rest_days" in rules) == any(b - a == 1 for a, b in pairwise(days))
        seen.update(rules)
    assert len(seen) >= 7


def test_a_step_up_never_costs_another_drill_its_place(graph: Graph) -> None:
    ups = waits = 0
    for request, answer in made(graph):
        if request.sessions_a_week > 3:
            # there a day of rest may move a drill from one week into another
            continue
        for week in answer.weeks:
            codes = {change.code for change in week.changes}
            waits += "rung_waits" in codes
            if "rung_up" in codes and not codes & {"helper_away", "swapped"}:
                assert "pauses" not in codes, f"{request.screen} week {week.week}"
                ups += 1
    assert ups > 10
    assert waits > 10


def test_a_longer_series_begins_like_the_shorter_one_and_adds_to_it(graph: Graph) -> None:
    for seed in SEEDS:
        screen = random_screen(graph, seed)
        answers = [series(asked(screen, seed, weeks), graph) for weeks in (1, 5, 12)]
        for shorter, longer in pairwise(answers):
            assert longer.value >= shorter.value, f"seed {seed}"
            same = longer.weeks[: len(shorter.weeks)]
            assert [w.sessions for w in same] == [w.sessions for w in shorter.weeks]


def test_the_order_of_what_is_sent_never_matters(graph: Graph) -> None:
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=seed % 2 == 0)
        told = []
        for one in (screen, shuffled(screen, seed)):
            answer = series(asked(one, seed), graph)
            told.append(msgspec.json.encode(msgspec.structs.replace(answer, warnings=())))
        assert told[0] == told[1], f"seed {seed}"


def mirrors(one: tuple[SideDose, ...], other: tuple[SideDose, ...]) -> bool:
    """Say if one is the other in a mirror; where neither side weighs more, left comes first."""
    swapped = tuple(SideDose(side=MIRRORED[s.side], sets=s.sets) for s in one)
    even = len(one) == 2 and one[0].sets == one[1].sets
    return other == swapped or (even and other == one)


def test_mirroring_left_and_right_mirrors_the_weeks(graph: Graph) -> None:
    sided = 0
    for seed in SEEDS:
        screen = random_screen(graph, seed, healthy=False)
        told = [
            [
                (day.day, step)
                for week in answer.weeks
                for day in week.sessions
                for step in day.steps
            ]
            for answer in (series(asked(s, seed), graph) for s in (screen, mirrored(screen)))
        ]
        assert len(told[0]) == len(told[1]), f"seed {seed}"
        for (day, one), (other_day, other) in zip(*told, strict=True):
            assert (day, one.drill, one.reps) == (other_day, other.drill, other.reps)
            assert mirrors(one.sides, other.sides), f"seed {seed} day {day}: {one} {other}"
            sided += one.sides != other.sides
    assert sided > 100


def by_week(answer: SeriesAnswer, drill: str) -> dict[int, int]:
    return {
        week.week: max(s.reps for one in week.sessions for s in one.steps if s.drill == drill)
        for week in answer.weeks
        if any(s.drill == drill for one in week.sessions for s in one.steps)
    }


def test_repetitions_grow_by_the_rule_where_there_is_time_and_fall_back_when_lighter(
    graph: Graph,
) -> None:
    numbers = rule(graph, "dose_progression")
    grew = 0
    for request, answer in made(graph):
        lighter = {week.week for week in answer.weeks if week.lighter}
        for one in answer.drills:
            record = graph.doses[graph.drills[one.drill].dose]
            row = getattr(record, request.screen.client.level)
            reps = by_week(answer, one.drill)
            for nth, week in enumerate([w for w in reps if w not in lighter]):
                most = min(numbers["most_more_reps"], nth * numbers["more_reps"])
                assert row.reps <= reps[week] <= row.reps + most
                grew += reps[week] > row.reps
            assert all(reps[week] == row.reps for week in reps if week in lighter)
            if one.aim in ("range", "practice"):
                assert set(reps.values()) == {row.reps}
    assert grew > 100


def example(name: str) -> Screen:
    return msgspec.json.decode(examples()[name], type=Screen)


def test_a_lighter_week_comes_as_often_as_the_level_needs_and_takes_a_set_away(
    graph: Graph,
) -> None:
    numbers = rule(graph, "lighter_week")
    base = example("left_knee_nothing_helps")
    for level in ("new", "regular", "advanced"):
        client = msgspec.structs.replace(base.client, level=level)
        screen = msgspec.structs.replace(base, client=client)
        answer = series(SeriesRequest(screen=screen, weeks=12), graph)
        every = numbers[level]
        expected = [week for week in range(1, 13) if every and week % every == 0]
        assert [week.week for week in answer.weeks if week.lighter] == expected
        for week in expected:
            before, light = answer.weeks[week - 2], answer.weeks[week - 1]
            assert sets(light) < sets(before)
            assert [one.value for one in light.sessions] == [one.value for one in before.sessions]


def sets(week: SeriesWeek) -> int:
    return sum(s.sets for one in week.sessions for step in one.steps for s in step.sides)


def test_weeks_beyond_the_first_retest_are_provisional_and_say_why(graph: Graph) -> None:
    several = 0
    for request, answer in made(graph):
        weeks = [one.weeks for one in plan(request.screen, graph).retest if one.weeks > 0]
        first = min(weeks)
        for week in answer.weeks:
            assert week.provisional == (week.week > first)
            assert (week.why is not None) == week.provisional
        days = [one.day for one in answer.retests]
        planned = sorted({7 * n + 1 for n in weeks if n <= len(answer.weeks)})
        assert days == planned
        codes = [note.code for note in answer.notes]
        assert ("retest_after" in codes) == (first > len(answer.weeks))
        several += len(days) > 1
    assert several > 2


def test_each_verdict_has_the_weeks_that_it_can_bear(graph: Graph) -> None:
    longest = rule(graph, "series_length")
    seen = set()
    for seed in SEEDS:
        answer = series(asked(random_screen(graph, seed, healthy=False), seed, 12), graph)
        seen.add(answer.verdict)
        if answer.verdict in ("refer", "nothing_found"):
            assert (answer.weeks, answer.drills, answer.value) == ((), (), 0)
        elif answer.weeks:
            assert len(answer.weeks) == longest.get(answer.verdict, 12)
        if answer.verdict == "refer":
            assert answer.referrals
        if answer.verdict == "unsure" and answer.weeks:
            assert answer.notes[0].code == "look_first"
            assert answer.look_at
    assert seen >= {"refer", "train", "unsure"}
    practise = series(SeriesRequest(screen=example("cue_cures_it"), weeks=12), graph)
    assert (practise.verdict, len(practise.weeks)) == ("practise", longest["practise"])
    assert practise.retests[0].day == 8
    nothing = series(SeriesRequest(screen=example("nothing_stands_out")), graph)
    assert (nothing.verdict, nothing.weeks) == ("nothing_found", ())


def test_help_is_taken_away_and_a_stance_that_suits_is_kept(graph: Graph) -> None:
    cue = series(SeriesRequest(screen=example("cue_cures_it"), weeks=3), graph)
    last = {step.drill for one in cue.weeks[-1].sessions for step in one.steps}
    assert [c.code for week in cue.weeks for c in week.changes].count("helper_away") == 1
    assert all(graph.drills[drill].helper is None for drill in last)
    toes = series(SeriesRequest(screen=example("feet_want_to_turn_out"), weeks=3), graph)
    kept = {step.drill for one in toes.weeks[-1].sessions for step in one.steps}
    assert any(graph.drills[drill].helper == "toes_out" for drill in kept)


def test_pain_told_on_the_first_day_closes_the_region_on_every_day(graph: Graph) -> None:
    base = example("left_knee_nothing_helps")
    for region in ("ankle", "shoulder", "low_back"):
        pain = (Pain(region=region, score=4, side="left"),)
        screen = msgspec.structs.replace(
            base, client=msgspec.structs.replace(base.client, pain=pain)
        )
        answer = series(SeriesRequest(screen=screen, weeks=12), graph)
        assert answer.cautions
        assert {c.id for c in answer.cautions} == {c.id for c in plan(screen, graph).cautions}


def test_minutes_of_the_request_count_before_those_of_the_screen(graph: Graph) -> None:
    screen = example("left_knee_nothing_helps")
    for minutes in (5, 20):
        answer = series(SeriesRequest(screen=screen, minutes=minutes), graph)
        own = msgspec.structs.replace(screen, minutes=minutes)
        assert answer == series(SeriesRequest(screen=own), graph)
        spent = [one.minutes for week in answer.weeks for one in week.sessions]
        assert max(spent) <= minutes


def test_same_as_day_names_the_first_day_with_the_same_steps(graph: Graph) -> None:
    repeated = 0
    for _, answer in made(graph):
        days = {one.day: one for week in answer.weeks for one in week.sessions}
        for one in days.values():
            alike = [day for day, other in days.items() if other.steps == one.steps]
            assert one.same_as_day == (alike[0] if alike[0] < one.day else None)
            repeated += one.same_as_day is not None
    assert repeated > 200


def test_a_week_is_said_to_be_the_same_where_it_is_that_full_week_again(graph: Graph) -> None:
    same = 0
    for _, answer in made(graph):
        full: list[SeriesWeek] = []
        for week in answer.weeks:
            codes = [change.code for change in week.changes]
            if "same" in codes:
                assert codes == ["same"]
                assert f"week {full[-1].week}." in week.changes[0].text
                pairs = zip(week.sessions, full[-1].sessions, strict=True)
                assert all(one.steps == other.steps for one, other in pairs)
                same += 1
            if not week.lighter:
                full.append(week)
    assert same > 30


def test_a_long_kept_drill_without_a_harder_version_makes_room_for_another(graph: Graph) -> None:
    numbers = rule(graph, "variation")
    swaps = 0
    for name in EXAMPLES:
        base = example(name)
        for level in ("regular", "advanced"):
            client = msgspec.structs.replace(base.client, level=level)
            screen = msgspec.structs.replace(base, client=client, recent=tuple(graph.drills))
            answer = series(SeriesRequest(screen=screen, weeks=12), graph)
            weeks = {one.drill: one.weeks for one in answer.drills}
            for week in answer.weeks:
                for change in week.changes:
                    if change.code == "swapped":
                        assert change.was is not None and change.drill is not None
                        light = {w.week for w in answer.weeks if w.lighter}
                        had = [n for n in weeks[change.was] if n not in light]
                        assert len(had) >= numbers["after_weeks"]
                        assert max(had) < week.week <= min(weeks[change.drill])
                        swaps += 1
    assert swaps > 0


def test_the_same_request_gives_the_same_bytes_in_either_language(graph: Graph) -> None:
    base = example("left_knee_nothing_helps")
    told = {}
    for language in ("de", "en"):
        options = msgspec.structs.replace(base.options, language=language)
        request = SeriesRequest(screen=msgspec.structs.replace(base, options=options), weeks=12)
        told[language] = series(request, graph)
        again = msgspec.json.encode(series(request, graph))
        assert again == msgspec.json.encode(told[language])
    assert told["de"].summary != told["en"].summary
    assert [w.sessions for w in told["de"].weeks] == [w.sessions for w in told["en"].weeks]
    assert told["de"].decision == told["en"].decision
