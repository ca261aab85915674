"""Spells of an alarm and the smoothed truth that they are held against."""

import numpy as np
from numpy.typing import NDArray

from tests.bench.quality.nights.night_files import Array, Night

__all__ = ["door_free", "episodes", "moving_mean", "true_deficits", "true_level"]


def episodes(on: NDArray[np.bool_], t: Array, merge: float) -> list[tuple[float, float]]:
    """List from when to when a state held, spells less than `merge` seconds apart joined."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]])))
    out: list[tuple[float, float]] = []
    for first, after in edges.reshape(-1, 2):
        start, end = float(t[first]), float(t[min(after, len(t) - 1)])
        if out and start - out[-1][1] <= merge:
            out[-1] = (out[-1][0], end)
        else:
            out.append((start, end))
    return out


def door_free(night: Night) -> NDArray[np.bool_]:
    """Tell which steps of the truth lie outside door openings with one minute before and eight after."""
    t = night.truth["t"]
    free = np.ones(len(t), bool)
    for start, end, _ in night.labels["lid"]:
        free &= (t < start - 60) | (t >= end + 480)
    return free


def moving_mean(x: Array, steps: int) -> Array:
    """Centered moving mean, with fewer values at the ends."""
    ones = np.ones(steps)
    return np.convolve(x, ones, "same") / np.convolve(np.ones(len(x)), ones, "same")


def bridged(night: Night, series: Array) -> Array:
    """Bridge a series over door openings by straight lines."""
    free = door_free(night)
    return np.interp(night.truth["t"], night.truth["t"][free], series[free])


def true_deficits(night: Night) -> Array:
    """How far each zone is below the mean of the grate: 5-minute mean, door openings bridged; shape (T, Z), °F."""
    zones = night.truth["zones"]
    deficit = zones.mean(1)[:, None] - zones
    return np.stack([moving_mean(bridged(night, deficit[:, j]), 5) for j in range(zones.shape[1])], 1)


def true_level(night: Night, minutes: int) -> Array:
    """Mean of the grate, door openings bridged, smoothed over some minutes, °F."""
    return moving_mean(bridged(night, night.truth["zones"].mean(1)), minutes)
