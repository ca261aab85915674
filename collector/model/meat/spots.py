"""What the cook reads by hand, and where: a thermometer put into the meat, or how brown bread got in a place. Pure."""

from collections import deque
from typing import Literal

import msgspec

from adapters.text import clean_text
from collector.snapshot import SpotView

__all__ = ["BREAD_MOST", "MOST_WHERE_CHARACTERS", "NEWEST_SPOTS", "Spot", "SpotBook", "spot_mistake"]

KEPT = 200
NEWEST_SPOTS = 12
"""So many are shown: on the map, beside the meat, on the phone."""
BREAD_MOST = 5.0
MOST_WHERE_CHARACTERS = 60


class Spot(msgspec.Struct, frozen=True):
    """One reading by hand."""

    kind: Literal["spot", "bread"]
    where: str
    value: float
    """Degrees Celsius, or how brown the bread is: 1, as it was, to 5, burnt."""
    x_m: float | None = None
    y_m: float | None = None
    """None where the place has none."""


def spot_mistake(spot: Spot) -> str:
    """Say why a reading by hand cannot be one; empty where it can."""
    if any(place is not None and not -100.0 <= place <= 100.0 for place in (spot.x_m, spot.y_m)):
        return "a place of the pit is so many metres from the fire end and from the back"
    if not clean_text(spot.where, MOST_WHERE_CHARACTERS) or len(spot.where) > MOST_WHERE_CHARACTERS:
        return f"say where it was read, in at most {MOST_WHERE_CHARACTERS} characters"
    if spot.kind == "bread" and not 1.0 <= spot.value <= BREAD_MOST:
        return "a bread test is scored from 1, as it was, to 5, burnt"
    if spot.kind == "spot" and not -30.0 <= spot.value <= 400.0:
        return "no thermometer reads that in a pit"
    return ""


class SpotBook:
    """Holds the newest readings by hand."""

    def __init__(self) -> None:
        self._spots: deque[SpotView] = deque(maxlen=KEPT)

    def add(self, spot: Spot, time_unix: float) -> None:
        """Take one."""
        self._spots.append(SpotView(time_unix, spot.kind, spot.where, spot.x_m, spot.y_m, spot.value))

    def views(self) -> tuple[SpotView, ...]:
        """Show all, oldest first."""
        return tuple(self._spots)
