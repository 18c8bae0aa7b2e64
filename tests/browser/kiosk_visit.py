"""One visit to the kiosk as data: what is answered on each page, for every way of getting there.

Apart from the tests because the pictures for people are made along the same way.
"""

from typing import NamedTuple


class Answered(NamedTuple):
    """One page: the words that its title holds, what is ticked or chosen, and what is written."""

    title: str
    ticks: tuple[tuple[str, str], ...] = ()
    """Name of the group and value."""
    chosen: tuple[tuple[str, str], ...] = ()
    written: tuple[tuple[str, str], ...] = ()


VISIT: tuple[Answered, ...] = (
    Answered("Is there a sign", ticks=(("alerts", "none"),)),
    Answered("Does anything hurt", ticks=(("pain", "knee"),)),
    Answered(
        "About the pain",
        ticks=(("pain.knee.side", "left"),),
        chosen=(("pain.knee.score", "2"), ("pain.knee.kind", "dull")),
    ),
    Answered("Is there a condition", ticks=(("conditions", "recent_surgery"),)),
    Answered(
        "More about what was ticked",
        ticks=(
            ("condition.recent_surgery.side", "left"),
            ("condition.recent_surgery.cleared", "yes"),
        ),
        chosen=(("condition.recent_surgery.region", "knee"),),
        written=(("condition.recent_surgery.weeks", "60"),),
    ),
    Answered("How old", written=(("age", "34"),)),
    Answered("Which movement", ticks=(("movement", "squat"),)),
    Answered("Where did you stand", ticks=(("stood", "front"), ("stood", "side"))),
    Answered("When did it leave", ticks=(("left_path", "lowering"),)),
    Answered("What did you see?", ticks=(("seen", "knee_in"), ("seen", "heel_leaves_floor"))),
    Answered(
        "More about what you saw",
        ticks=(
            ("seen.knee_in.side", "left"),
            ("seen.knee_in.grade", "marked"),
            ("seen.heel_leaves_floor.side", "both"),
            ("seen.heel_leaves_floor.grade", "mild"),
        ),
    ),
    Answered("What did you look for", ticks=(("not_there", "depth_short"),)),
    Answered("Did you change something", ticks=(("tried", "heels_raised"),)),
    Answered(
        "What happened then",
        ticks=(
            ("tried.heels_raised.knee_in", "better"),
            ("tried.heels_raised.heel_leaves_floor", "gone"),
        ),
    ),
    Answered("What kit", ticks=(("kit", "mini_band"), ("kit", "step_box"))),
    Answered("Today", written=(("minutes", "12"),), chosen=(("target", "squat"),)),
)
PLAN = "Plan for today, towards: squat"
