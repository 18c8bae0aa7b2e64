"""From the answers on the pages to a screen, as any other caller would send it."""

from collections.abc import Iterator

from service.model.quantities import Side
from service.model.screen import Client, Condition, Observation, Options, Pain, Screen, Trial
from service.web.kiosk.ask import ALL_ALONG, MOMENTS, NONE, Asker, first, ticked
from service.web.kiosk.form import Answers

EVERYTHING = ("firmness", "next_checks", "turning_points")


def screen_of(ask: Asker, answers: Answers) -> Screen:
    """The screen that the answers amount to. They must have come through a walk."""
    return Screen(
        observations=(*_positives(ask, answers), *_negatives(ask, answers)),
        client=_client(answers),
        target=first(answers, "target") or None,  # type: ignore[arg-type]
        minutes=int(first(answers, "minutes") or 10),
        kit=answers.get("kit", ()),
        options=Options(language=ask.language, include=EVERYTHING),  # type: ignore[arg-type]
    )


def _client(answers: Answers) -> Client:
    """Who moves. What was not yet asked stays null."""
    age = first(answers, "age")
    return Client(
        level=first(answers, "level") or "new",  # type: ignore[arg-type]
        age_years=int(age) if age else None,
        alerts=_told(answers, "alerts"),  # type: ignore[arg-type]
        pain=None if _told(answers, "pain") is None else tuple(_pain(answers)),
        conditions=None if _told(answers, "conditions") is None else tuple(_conditions(answers)),
    )


def _told(answers: Answers, name: str) -> tuple[str, ...] | None:
    """What was ticked; null where the question was left unanswered."""
    return ticked(answers, name) if answers.get(name) else None


def _side(answers: Answers, name: str) -> Side:
    return first(answers, name) or "none"  # type: ignore[return-value]


def _pain(answers: Answers) -> Iterator[Pain]:
    for region in ticked(answers, "pain"):
        score = first(answers, f"pain.{region}.score")
        if score:
            yield Pain(
                region=region,  # type: ignore[arg-type]
                score=int(score),
                side=_side(answers, f"pain.{region}.side"),
                kind=first(answers, f"pain.{region}.kind") or None,  # type: ignore[arg-type]
                when=first(answers, f"pain.{region}.when") or None,  # type: ignore[arg-type]
            )


def _conditions(answers: Answers) -> Iterator[Condition]:
    for condition in ticked(answers, "conditions"):
        here = f"condition.{condition}"
        region = first(answers, f"{here}.region")
        weeks = first(answers, f"{here}.weeks")
        yield Condition(
            id=condition,  # type: ignore[arg-type]
            region=None if region in ("", NONE) else region,  # type: ignore[arg-type]
            side=_side(answers, f"{here}.side"),
            weeks_ago=int(weeks) if weeks else None,
            cleared=first(answers, f"{here}.cleared") == "yes",
        )


def _positives(ask: Asker, answers: Answers) -> Iterator[Observation]:
    movement, moment = first(answers, "movement"), first(answers, "left_path")
    half = ask.pack.changes.get("half_depth")
    # there from the start: then it shows at half the depth too, where that can be told apart
    all_along = moment == ALL_ALONG and half is not None and movement in half.movements
    for finding in ticked(answers, "seen"):
        yield Observation(
            movement=movement,  # type: ignore[arg-type]
            view=_best_view(ask, answers, finding),  # type: ignore[arg-type]
            finding=finding,  # type: ignore[arg-type]
            grade=first(answers, f"seen.{finding}.grade") or "mild",  # type: ignore[arg-type]
            side=_side(answers, f"seen.{finding}.side"),
            depth="throughout" if all_along else None,
            phase=moment if moment in MOMENTS else None,  # type: ignore[arg-type]
            trials=tuple(_trials(answers, finding)),
        )


def _negatives(ask: Asker, answers: Answers) -> Iterator[Observation]:
    for finding in answers.get("not_there", ()):
        yield Observation(
            movement=first(answers, "movement"),  # type: ignore[arg-type]
            view=_best_view(ask, answers, finding),  # type: ignore[arg-type]
            finding=finding,  # type: ignore[arg-type]
            grade="absent",
            side="both" if ask.pack.findings[finding].sided else "none",
        )


def _trials(answers: Answers, finding: str) -> Iterator[Trial]:
    """What the changes did. The page takes no more of them than an observation does."""
    results = (
        (change, first(answers, f"tried.{change}.{finding}")) for change in ticked(answers, "tried")
    )
    for change, result in results:
        if result not in ("", NONE):
            yield Trial(change=change, result=result)  # type: ignore[arg-type]


def _best_view(ask: Asker, answers: Answers, finding: str) -> str:
    """Of the places where the trainer stood, the one from which the finding is seen best."""
    movement = first(answers, "movement")
    eyes = {
        view: ask.pack.eyes[movement, finding, view]
        for view in answers.get("stood", ())
        if (movement, finding, view) in ask.pack.eyes
    }
    return max(
        sorted(eyes), key=lambda view: round(eyes[view].sensitivity + eyes[view].specificity, 9)
    )
