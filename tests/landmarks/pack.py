"""The shipped cut-offs and sentences, as the room of landmarks takes them."""

from functools import lru_cache
from pathlib import Path

import msgspec

from service.landmarks import analyse
from service.model.knowledge import CutoffRecord, TextRecord
from service.model.landmarks import Clip, LandmarkAnswer

FOLDER = Path(__file__).parents[2] / "knowledge"


@lru_cache(maxsize=1)
def cutoffs() -> dict[str, CutoffRecord]:
    raw = next(FOLDER.glob("*cutoffs/cutoffs.toml")).read_bytes()
    found = msgspec.toml.decode(raw, type=dict[str, list[CutoffRecord]])
    return {record.id: record for record in found["cutoffs"] if record.status == "live"}


@lru_cache(maxsize=1)
def texts() -> dict[str, str]:
    raw = (FOLDER / "texts" / "en" / "landmarks.toml").read_bytes()
    found = msgspec.toml.decode(raw, type=dict[str, list[TextRecord]])
    return {record.id: record.text for record in found["texts"]}


def read(clip: Clip) -> LandmarkAnswer:
    """Return what the shipped pack says of a clip."""
    return analyse(clip, cutoffs(), texts())
