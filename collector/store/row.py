"""A reading as the integers that go on disk, and back. What the engine takes is what the disk will give again.

Values are rounded to a thousandth of a degree and times to a millisecond *before* the engine sees them, so a replay
from disk is the same to the digit.
"""

import math

import msgspec

from adapters.reading import FURTHEST_UNIX, Quality, Reading, Reason, Unit
from collector.store.schema import SEQUENCE_BITS

__all__ = [
    "AFTER_SECONDS",
    "MOST_CELSIUS",
    "Ordinals",
    "Row",
    "ordinal_at",
    "reading_of",
    "row_of",
    "unix_of",
    "verdict_of",
    "with_verdict",
]

AFTER_SECONDS = 0.001
"""What comes next is a millisecond later, the finest that is on record."""
_UNITS = (Unit.CELSIUS, Unit.FAHRENHEIT, Unit.KELVIN)
_QUALITY = {int(quality): quality for quality in Quality}
_REASON = {int(reason): reason for reason in Reason}
_UNIT_NUMBER = {unit: number for number, unit in enumerate(_UNITS)}
MOST_CELSIUS = 10_000.0
"""What is hotter, or as cold below zero, goes on record as this: a layout with the wrong type can give any float."""

Row = tuple[int, int, int | None, int, int | None, int | None]
"""Columns of table `reading`: id, series, millicelsius, flags, source_ms, receipt."""


def unix_of(ordinal: int) -> float:
    """Time of an ordinal, Unix seconds UTC."""
    return (ordinal >> SEQUENCE_BITS) / 1000


def ordinal_at(unix: float) -> int:
    """Give the least ordinal not before a time."""
    return math.ceil(round(unix * 1000, 3)) << SEQUENCE_BITS


class Ordinals(msgspec.Struct):
    """Hands out ordinals, each greater than the last, none before the given time."""

    last: int = 0

    def next(self, unix: float) -> int:
        """Give the next ordinal at or after this time."""
        self.last = max(self.last + 1, int(unix * 1000) << SEQUENCE_BITS)
        return self.last


def row_of(ordinal: int, series: int, reading: Reading) -> Row:
    """Turn a reading into its row, whatever numbers it holds."""
    celsius = reading.celsius
    value = None
    if math.isfinite(celsius):
        value = round(1000 * max(-MOST_CELSIUS, min(MOST_CELSIUS, celsius)))  # bounded first: no product is infinite
    source_ms = None
    if reading.source_unix is not None and abs(reading.source_unix) < FURTHEST_UNIX:
        source_ms = round(reading.source_unix * 1000) - (ordinal >> SEQUENCE_BITS)
    flags = reading.quality | reading.reason << 2 | _UNIT_NUMBER[reading.unit] << 8
    return ordinal, series, value, flags, source_ms, reading.receipt


def reading_of(row: Row, source: str, key: str) -> Reading:
    """Turn a row back into the reading as the engine took it."""
    ordinal, _, value, flags, source_ms, receipt = row
    milliseconds = ordinal >> SEQUENCE_BITS
    return Reading(
        source,
        key,
        math.nan if value is None else value / 1000,
        milliseconds / 1000,
        None if source_ms is None else (milliseconds + source_ms) / 1000,
        _UNITS[flags >> 8 & 15],
        _QUALITY[flags & 3],
        _REASON[flags >> 2 & 63],
        receipt,
    )


def with_verdict(row: Row, quality: Quality, reason: Reason) -> Row:
    """Add to a row what the screening said of it."""
    ordinal, series, value, flags, source_ms, receipt = row
    return ordinal, series, value, flags | quality << 12 | reason << 14, source_ms, receipt


def verdict_of(flags: int) -> tuple[Quality, Reason]:
    """Read from a row's flags what the screening said."""
    return Quality(flags >> 12 & 3), Reason(flags >> 14 & 63)
