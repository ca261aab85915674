"""Labels from the truth, the same for every generator: cold spots, and drifts of the fire with their causes."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["cold_labels", "drift_labels"]

Array = NDArray[np.float64]
STEP_SECONDS = 60.0
LIMITS_F = (10, 15, 20)
LEAST_SECONDS = 600.0
DOOR_BEFORE_SECONDS, DOOR_AFTER_SECONDS = 60.0, 480.0
SLOPE_F_PER_HOUR, MAJOR_F, MINOR_F, MOVED_F = 15.0, 25.0, 12.0, 10.0
PAUSE_MINUTES = 12
CAUSE_HOURS = 2.0
"""A drift that begins later than this after a cause is not laid to it."""


def door_free(t: Array, doors: Sequence[tuple[float, float]]) -> NDArray[np.bool_]:
    """Tell which times lie outside door openings, with a minute before and eight after."""
    free = np.ones(len(t), bool)
    for start, end in doors:
        free &= (t < start - DOOR_BEFORE_SECONDS) | (t >= end + DOOR_AFTER_SECONDS)
    return free


def _mean(x: Array, steps: int) -> Array:
    ones = np.ones(steps)
    return np.convolve(x, ones, "same") / np.convolve(np.ones(len(x)), ones, "same")


def _bridged(t: Array, x: Array, doors: Sequence[tuple[float, float]]) -> Array:
    free = door_free(t, doors)
    return np.interp(t, t[free], x[free])


def _spells(on: NDArray[np.bool_]) -> NDArray[np.int64]:
    return np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]]))).reshape(-1, 2)


def _joined(spells: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Join spells that a short pause divides."""
    out: list[tuple[int, int]] = []
    for first, after in spells.tolist():
        if out and first - out[-1][1] <= PAUSE_MINUTES:
            out[-1] = (out[-1][0], after)
        else:
            out.append((first, after))
    return out


def cold_labels(
    t: Array, zones: Array, names: Sequence[str], doors: Sequence[tuple[float, float]]
) -> list[dict[str, Any]]:
    """List when a zone lay deeper than each limit below the mean of the grate, for ten minutes or more.

    Args:
        t: s from the start, one a minute, shape (T,).
        zones: true zone means, °F, shape (T, Z).
        names: of the zones.
        doors: from when to when the door was open, s.
    """
    out = []
    deficit = zones.mean(1)[:, None] - zones
    for j, name in enumerate(names):
        smooth = _mean(_bridged(t, deficit[:, j], doors), 5)
        for limit in LIMITS_F:
            for first, after in _spells(smooth > limit):
                start, end = float(t[first]), float(t[min(after, len(t) - 1)])
                if end - start >= LEAST_SECONDS:
                    peak = round(float(smooth[first:after].max()), 1)
                    out.append({"zone": name, "D": limit, "T": LEAST_SECONDS, "start": start, "end": end, "peak": peak})
    return out


def drift_labels(
    t: Array, zones: Array, doors: Sequence[tuple[float, float]], causes: Sequence[dict[str, Any]]
) -> list[dict[str, Any]]:
    """List when the 60-minute mean of the grate moved faster than 15 °F/h, with how far it moved and why.

    Args:
        t: s from the start, one a minute, shape (T,).
        zones: true zone means, °F, shape (T, Z).
        doors: from when to when the door was open, s.
        causes: each with `cause`, `start` (s) and `direction`.
    """
    level = _bridged(t, zones.mean(1), doors)
    slow = _mean(level, 60)
    slope = np.gradient(slow, STEP_SECONDS / 3600.0)
    out = []
    for way in (1, -1):
        for first, after in _joined(_spells(way * slope > SLOPE_F_PER_HOUR)):
            last = min(after, len(t) - 1)
            moved = float(slow[last] - slow[first])
            if abs(moved) < MINOR_F:
                continue
            start, end = float(t[first]), float(t[last])
            cause = _cause_of(start, end, way, causes)
            if cause is not None:
                start = max(start, cause["start"]) if start < cause["start"] else start
            inside = np.flatnonzero((t >= start) & (t <= end))
            base = float(slow[inside[0]]) if len(inside) else 0.0
            reached = inside[way * (slow[inside] - base) >= MOVED_F]
            out.append(
                {
                    "start": start,
                    "end": end,
                    "direction": way,
                    "excursion_F": round(moved, 1),
                    "rate_F_per_h": round(moved * 3600.0 / float(t[last] - t[first]), 1),
                    "size": "major" if abs(moved) >= MAJOR_F else "minor",
                    "cause": None if cause is None else cause["cause"],
                    "cause_start": None if cause is None else cause["start"],
                    "moved_10F": float(t[reached[0]]) if len(reached) else None,
                }
            )
    return sorted(out, key=lambda drift: drift["start"])


def _cause_of(start: float, end: float, way: int, causes: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """Find the cause that a drift follows."""
    for cause in causes:
        if cause["direction"] == way and end > cause["start"] and start < cause["start"] + CAUSE_HOURS * 3600.0:
            return cause
    return None
