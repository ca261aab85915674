"""What the probes for meat have shown in this cook, for a piece that is described only later. Pure.

A piece is often added hours after it went on. Its clocks must not begin at nought then, so its probe's past in this
cook is taken for the meat's unless it cannot be. Where it cannot be told apart (a probe that lay on a table, at what
meat there has too) it counts as meat: time in danger is rather counted too long than too short.
"""

import math
from collections import deque
from collections.abc import Iterable

import msgspec

from collector.model.field import Array

__all__ = ["MeatHistory", "MeatRow", "in_meat_since"]

MOST_ROWS = 16 * 60
HOTTEST_MEAT_CELSIUS = 101.0
HOT_PIT_CELSIUS, AS_THE_AIR_KELVIN = 60.0, 5.0
"""A tip this near to the air of a hot pit, or hotter, hangs in it: meat lags further behind (common practice)."""
PUT_IN_KELVIN, COLD_CELSIUS = 6.0, 20.0
"""A fall by so much within a minute, to below so much: the tip was just put into cold meat."""


class MeatRow(msgspec.Struct, frozen=True):
    """A minute of the cook."""

    unix: float
    values: Array
    """°C of the probes that are believed, NaN of the others, and of those that are not for meat; shape (probes,)."""
    zone_celsius: Array
    """Shape (zones,)."""
    grate_celsius: float


class MeatHistory:
    """Keeps the newest rows."""

    def __init__(self) -> None:
        self._rows: deque[MeatRow] = deque(maxlen=MOST_ROWS)

    def add(self, row: MeatRow) -> None:
        """Take one; the oldest goes."""
        self._rows.append(row)

    @property
    def rows(self) -> tuple[MeatRow, ...]:
        """All, oldest first."""
        return tuple(self._rows)


def in_meat_since(told: Iterable[tuple[float, float, float]]) -> float:
    """Say since when a probe has shown what can be meat; NaN where it does not now, or never did.

    Args:
        told: of each minute, oldest first, Unix seconds, what the probe showed and what the grate had, °C, or NaN.
    """
    since = before = math.nan
    for unix, celsius, grate in told:
        if math.isnan(celsius):
            continue
        in_pit_air = grate >= HOT_PIT_CELSIUS and celsius >= grate - AS_THE_AIR_KELVIN
        put_in = celsius < COLD_CELSIUS and before - celsius > PUT_IN_KELVIN
        if in_pit_air or celsius >= HOTTEST_MEAT_CELSIUS:
            since = math.nan
        elif put_in or math.isnan(since):
            since = unix
        before = celsius
    return since
