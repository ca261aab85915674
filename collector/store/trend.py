"""Rows of the trend as bytes: on disk, in the collector's memory of the night, and on the way to a dashboard.

A night is thousands of rows. As bytes they are joined, sent and read into arrays at once; as objects each would be made
and taken apart again.
"""

from collections.abc import Iterable, Iterator
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from collector.snapshot import TrendPoint, TrendStretch

__all__ = ["PackedRow", "pack", "points", "row_of", "stretches", "table"]

PackedRow = tuple[float, int, bytes]
"""Unix time, number of zones, and the row as `pack` gives it."""
BEFORE_ZONES = 2
"""Grate and spread."""


def pack(point: TrendPoint) -> bytes:
    """Turn a row into little-endian float32: grate, spread, zones, probes."""
    return np.array([point.grate_celsius, point.spread_kelvin, *point.zones, *point.probes], dtype="<f4").tobytes()


def row_of(point: TrendPoint) -> PackedRow:
    """Turn a row into bytes, with what is needed to read them."""
    return point.time_unix, len(point.zones), pack(point)


def stretches(rows: Iterable[PackedRow]) -> tuple[TrendStretch, ...]:
    """Join rows, oldest first, as long as they have the same zones and probes."""
    found = []
    for (zones, _), run in groupby(rows, key=lambda row: (row[1], len(row[2]))):
        times, _, kept = zip(*run, strict=True)
        found.append(TrendStretch(zones, np.array(times, dtype="<f8").tobytes(), b"".join(kept)))
    return tuple(found)


def table(stretch: TrendStretch) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """Read a stretch into arrays.

    Returns:
        Unix times, shape (n,), and shape (n, 2 + zones + probes): grate (°C), spread (K), zones (°C), probes (°C).
    """
    times = np.frombuffer(stretch.times, dtype="<f8")
    return times, np.frombuffer(stretch.rows, dtype="<f4").reshape(len(times), -1)


def points(stretches: Iterable[TrendStretch]) -> Iterator[TrendPoint]:
    """Turn stretches back into rows."""
    for stretch in stretches:
        times, rows = table(stretch)
        probes = BEFORE_ZONES + stretch.zones
        for time_unix, values in zip(times.tolist(), rows.tolist(), strict=True):
            yield TrendPoint(
                time_unix, tuple(values[BEFORE_ZONES:probes]), values[1], values[0], tuple(values[probes:])
            )  # fmt: skip
