"""The trend so far as arrays, bounded: what the chart is drawn from."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from collector.snapshot import TrendPoint, TrendStretch
from collector.store.trend import table

__all__ = ["TrendLog"]

Array = NDArray[np.float64]

CAPACITY = 24 * 360
"""A day at one row every ten seconds; the oldest row goes when a new one finds no room."""


class TrendLog:
    """Rows of the trend, oldest first. Columns: spread, grate, zones, probes.

    A row with another number of zones or probes (the config changed) starts the log afresh.
    """

    def __init__(self, capacity: int = CAPACITY) -> None:
        self._capacity = capacity
        self._rows: Array = np.empty((0, 3))
        self._count = 0
        self._zones = 0
        self._probes = 0

    def replace(self, stretches: Sequence[TrendStretch]) -> None:
        """Forget all and take these rows, oldest first: of stretches with other columns the last."""
        self._rows, self._count = np.empty((0, 3)), 0
        self._zones = self._probes = 0
        if not stretches:
            return
        times, rows = table(stretches[-1])
        newer = np.append(True, times[1:] > np.maximum.accumulate(times)[:-1])
        times, rows = times[newer][-self._capacity :], rows[newer][-self._capacity :]
        self._count, self._zones = len(times), stretches[-1].zones
        self._probes = rows.shape[1] - 2 - self._zones
        self._rows = np.empty((len(times), 1 + rows.shape[1]))
        self._rows[:, 0], self._rows[:, 1], self._rows[:, 2] = times, rows[:, 1], rows[:, 0]
        self._rows[:, 3:] = rows[:, 2:]

    def add(self, point: TrendPoint) -> None:
        """Take one more row; one that is not newer than the newest is left out."""
        zones, probes = len(point.zones), len(point.probes)
        if (zones, probes) != (self._zones, self._probes):
            self._count, self._zones, self._probes = 0, zones, probes
            self._rows = np.empty((512, 3 + zones + probes))
        if self._count and point.time_unix <= self._rows[self._count - 1, 0]:
            return
        if self._count == len(self._rows):
            self._make_room()
        self._rows[self._count] = (
            point.time_unix, point.spread_kelvin, point.grate_celsius, *point.zones, *point.probes,
        )  # fmt: skip
        self._count += 1

    def _make_room(self) -> None:
        if self._count < self._capacity:
            grown = np.empty((min(self._capacity, 2 * self._count), self._rows.shape[1]))
            grown[: self._count] = self._rows
            self._rows = grown
            return
        dropped = max(1, self._capacity // 8)
        self._rows[: self._count - dropped] = self._rows[dropped : self._count].copy()
        self._count -= dropped

    @property
    def time_unix(self) -> Array:
        """Times, shape (n,), Unix seconds."""
        return self._rows[: self._count, 0]

    @property
    def spread_kelvin(self) -> Array:
        """Spread, shape (n,), kelvin."""
        return self._rows[: self._count, 1]

    @property
    def grate_celsius(self) -> Array:
        """Level of the grate, shape (n,), degrees Celsius."""
        return self._rows[: self._count, 2]

    def zone_celsius(self, index: int) -> Array:
        """One zone, shape (n,), degrees Celsius; empty for a zone that the rows do not hold."""
        return self._column(3 + index, self._zones, index)

    def probe_celsius(self, index: int) -> Array:
        """One probe, shape (n,), degrees Celsius; empty for a probe that the rows do not hold."""
        return self._column(3 + self._zones + index, self._probes, index)

    def _column(self, column: int, held: int, index: int) -> Array:
        return self._rows[: self._count, column] if index < held else np.empty(0)
