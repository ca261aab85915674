"""A row of the trend as bytes: on disk, and in the collector's memory of the night."""

import numpy as np

from collector.snapshot import TrendPoint

__all__ = ["pack", "unpack"]


def pack(point: TrendPoint) -> bytes:
    """Turn a row into little-endian float32: grate, spread, zones, probes."""
    return np.array([point.grate_celsius, point.spread_kelvin, *point.zones, *point.probes], dtype="<f4").tobytes()


def unpack(time_unix: float, row: bytes, zones: int) -> TrendPoint:
    """Turn bytes back into a row with so many zones."""
    values = np.frombuffer(row, dtype="<f4").tolist()
    return TrendPoint(time_unix, tuple(values[2 : 2 + zones]), values[1], values[0], tuple(values[2 + zones :]))
