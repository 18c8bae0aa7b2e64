"""Calls a running service with the generated client: plan, check, review, series, bulk, refusal."""

import json
import sys

from movewright_client import Client
from movewright_client.api.catalog import get_record
from movewright_client.api.decide import (
    find_next_check,
    make_plan,
    make_plans,
    make_review,
    make_series,
)
from movewright_client.api.read import get_example, list_examples
from movewright_client.models import (
    Answer,
    ExampleList,
    NextCheckAnswer,
    Problem,
    RecordList,
    ReviewAnswer,
    ReviewRequest,
    Screen,
    SeriesAnswer,
    SeriesRequest,
)
from movewright_client.models.get_record_kind import GetRecordKind

client = Client(base_url=sys.argv[1], raise_on_unexpected_status=True)

listed = list_examples.sync(client=client)
assert isinstance(listed, ExampleList)
screens: list[Screen] = []
for item in listed.items:
    screen = get_example.sync(item.name, client=client)
    assert isinstance(screen, Screen)
    screens.append(screen)

verdicts: list[str] = []
for screen in screens:
    answer = make_plan.sync(client=client, body=screen)
    assert isinstance(answer, Answer)
    verdicts.append(answer.verdict.value)
    assert answer.session is None or answer.session.steps
    for step in answer.session.steps if answer.session else []:
        record = get_record.sync(GetRecordKind.DRILLS, step.drill, client=client)
        assert isinstance(record, RecordList) and len(record.items) == 1
assert {"refer", "train"} <= set(verdicts)

checks = find_next_check.sync(client=client, body=screens[-1])
assert isinstance(checks, NextCheckAnswer)

review = make_review.sync(
    client=client,
    body=ReviewRequest(baseline=screens[-1], retest=screens[-1], days_between=21),
)
assert isinstance(review, ReviewAnswer)
assert review.findings and review.next_.verdict.value == verdicts[-1]

weeks = make_series.sync(
    client=client, body=SeriesRequest(screen=screens[-1], weeks=4, sessions_a_week=2)
)
assert isinstance(weeks, SeriesAnswer)

lines = make_plans.sync(client=client, body=[screen.to_dict() for screen in screens])
assert isinstance(lines, str)
*answers, closing = [json.loads(line) for line in lines.splitlines()]
assert [one["answer"]["verdict"] for one in answers] == verdicts
assert closing["summary"]["complete"] is True

refused = make_plan.sync(
    client=client, body=Screen.from_dict({"observations": [], "minutes": 100_000})
)
assert isinstance(refused, Problem)
assert refused.status == 422 and refused.errors[0].pointer == "/minutes"
print(f"{len(verdicts)} plans")
