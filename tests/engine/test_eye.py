"""The eye folded into the noisy-OR, against Bayes written out."""

import itertools
import random

import pytest

from service.engine.eye import Look, absence_scale, folded

PRIOR = 0.3


def posterior(looks: tuple[Look, ...]) -> float:
    """Return P(cause | looks) of one cause that always shows, by the engine's fold."""
    fold = folded(looks, 0.0)
    if fold is not None:
        with_cause, without = 1 - (1 - fold.leak) * (1 - fold.scale), fold.leak
    else:
        with_cause, without = 1 - absence_scale(looks), 1.0
    return PRIOR * with_cause / (PRIOR * with_cause + (1 - PRIOR) * without)


def bayes(looks: tuple[Look, ...]) -> float:
    there = not_there = 1.0
    for look in looks:
        there *= look.sensitivity if look.seen else 1 - look.sensitivity
        not_there *= 1 - look.specificity if look.seen else look.specificity
    return PRIOR * there / (PRIOR * there + (1 - PRIOR) * not_there)


def test_the_published_eye_gives_the_published_post_test_probabilities() -> None:
    """Post 2017, overhead squat: 0.70 and 0.79 at a prior of 0.30 give 0.59 and 0.14."""
    eye = {"sensitivity": 0.7, "specificity": 0.79}

    assert posterior((Look(seen=True, **eye),)) == pytest.approx(0.59, abs=0.005)
    assert posterior((Look(seen=False, **eye),)) == pytest.approx(0.14, abs=0.005)


def test_any_looks_at_one_sure_cause_equal_bayes() -> None:
    seed = 20
    rng = random.Random(seed)
    for _ in range(300):
        looks = tuple(
            Look(
                seen=rng.random() < 0.5,
                sensitivity=rng.uniform(0.5, 0.95),
                specificity=rng.uniform(0.55, 0.95),
            )
            for _ in range(rng.randint(1, 3))
        )
        assert posterior(looks) == pytest.approx(bayes(looks)), f"seed {seed}: {looks}"


def test_the_order_of_views_does_not_matter() -> None:
    views = [
        Look(seen=True, sensitivity=0.7, specificity=0.79),
        Look(seen=True, sensitivity=0.6, specificity=0.69),
        Look(seen=False, sensitivity=0.55, specificity=0.6),
    ]
    for order in itertools.permutations(views):
        assert posterior(order) == pytest.approx(posterior(tuple(views)))


def test_an_eye_no_better_than_chance_says_nothing() -> None:
    look = (Look(seen=True, sensitivity=0.4, specificity=0.6),)

    assert folded(look, 0.05) is None
    assert absence_scale(look) == pytest.approx(0.0)
