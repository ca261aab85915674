"""The trend as a collector sends it, of rows that a test makes."""

from collections.abc import Iterable

from collector.snapshot import TrendPoint, TrendStretch
from collector.store.trend import row_of, stretches

__all__ = ["packed"]


def packed(points: Iterable[TrendPoint]) -> tuple[TrendStretch, ...]:
    """Turn rows, oldest first, into stretches."""
    return stretches(row_of(point) for point in points)
