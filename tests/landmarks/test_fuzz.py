"""Whatever fits the schema is answered: no exception, no NaN in the answer, the same twice."""

import msgspec
import numpy as np
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from service.model.landmarks import Clip, ImageSize
from tests.landmarks.figures import Body, Camera, clip_of, film, frames_of, grid_of
from tests.landmarks.pack import read

NUMBERS = st.one_of(
    st.none(),
    st.floats(-100000, 100000),
    st.floats(0, 1),
    st.sampled_from([0.0, -1.0, 1.0, 100000.0, -100000.0, 5e-324]),
)
POINTS = st.tuples(NUMBERS, NUMBERS, NUMBERS)
MOVEMENTS = st.sampled_from(msgspec.inspect.type_info(Clip).fields[0].type.values)  # type: ignore[union-attr]
HEADS = st.fixed_dictionaries(
    {
        "movement": MOVEMENTS,
        "view": st.sampled_from(["back", "front", "side"]),
        "layout": st.sampled_from(["body33", "coco17"]),
        "fps": st.one_of(st.floats(1, 240), st.just(30.0)),
        "coordinates": st.sampled_from(["normalised", "pixels"]),
        "image": st.sampled_from(
            [None, ImageSize(width=16, height=16384), ImageSize(width=720, height=720)]
        ),
        "mirrored": st.booleans(),
        "sex": st.sampled_from([None, "female", "male"]),
        "side": st.sampled_from(["left", "none", "right"]),
    }
)
FRAMES = st.lists(
    st.one_of(
        st.lists(POINTS, max_size=33),
        st.lists(POINTS, min_size=17, max_size=17),
        st.lists(POINTS, min_size=33, max_size=33),
    ),
    max_size=8,
)
GOOD = [clip_of(film(Body(repeats=2), Camera(view=view, noise=2.0))) for view in ("front", "side")]


def holds(clip: Clip) -> None:
    answer = read(clip)
    # JSON has no NaN: msgspec writes it as null, so a NaN would not come back as a number
    written = msgspec.json.encode(answer)
    assert msgspec.json.decode(written, type=type(answer)) == answer
    assert msgspec.json.encode(read(clip)) == written


@settings(max_examples=100, deadline=None, derandomize=True)
@given(HEADS, FRAMES)
@example({"movement": "squat", "view": "front", "layout": "coco17", "fps": 30.0}, [])
def test_any_request_is_answered(head: dict[str, object], frames: list[object]) -> None:
    holds(msgspec.convert({**head, "frames": frames}, Clip))


@settings(
    max_examples=90,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(
    HEADS,
    st.integers(0, len(GOOD) - 1),
    st.integers(0, 2**32 - 1),
    st.floats(0, 1),
    st.sampled_from(
        ["nan", "huge", "drop", "shuffle", "flat", "reverse", "sparse", "spot", "line"]
    ),
)
def test_a_spoilt_clip_is_answered(
    head: dict[str, object], which: int, seed: int, part: float, how: str
) -> None:
    good = GOOD[which]
    rng = np.random.default_rng(seed)
    grid = grid_of(good)
    hit = rng.random(grid.shape[:2]) < part
    if how == "nan":
        grid[hit] = np.nan
    elif how == "huge":
        grid[hit, :2] = 1e5 * rng.standard_normal((int(hit.sum()), 2))
    elif how == "drop":
        grid[hit, 2] = 0.0
    elif how == "shuffle":
        grid = grid[:, rng.permutation(grid.shape[1])]
    elif how == "flat":
        grid[..., rng.integers(0, 2)] = 100.0
    elif how == "reverse":
        grid = grid[::-1]
    elif how == "spot":
        grid[..., :2] = 300.0
        grid[hit, :2] = rng.integers(0, 3, 2)
    elif how == "line":
        grid[..., 0] = 10.0 * np.arange(grid.shape[1])
        grid[..., 1] = 5.0 * rng.integers(0, 3, grid.shape[0])[:, None]
    else:
        grid = grid[:: 1 + int(10 * part)]
    clip = msgspec.structs.replace(good, frames=frames_of(grid))
    kept = {k: v for k, v in head.items() if k not in ("layout", "coordinates")}
    holds(msgspec.structs.replace(clip, **kept))
    holds(msgspec.structs.replace(clip, view=good.view))
