"""Reference drift detector: the Theil–Sen slope of the grate over 90 minutes."""

import warnings

import numpy as np
from numpy.typing import NDArray

from tests.bench.quality.nights.night_files import Array, Gridded
from tests.bench.quality.nights.reference.screening import door_open, rolling, screened, zone_means

__all__ = ["drift_alarms"]

WINDOW_MINUTES, SLOPE_F_PER_HOUR, MOVED_F = 90, 25.0, 15.0
ON_MINUTES, OFF_MINUTES = 3, 10


def _clean_level(readings: Gridded) -> Array:
    """Mean of the zones each minute, without faults and door openings with 5 min after; NaN there."""
    x = screened(readings)
    door = door_open(x)
    after = rolling(door.astype(float)[:, None], 10, np.nanmax)[:, 0] > 0
    level = np.where(after, np.nan, np.nanmean(zone_means(x, readings.zones[readings.grate]), 1))
    return np.nanmean(level[: len(level) // 2 * 2].reshape(-1, 2), 1)


def _held(condition: NDArray[np.bool_]) -> NDArray[np.bool_]:
    out, state, true, false = np.zeros(len(condition), bool), False, 0, 0
    for k, holds in enumerate(condition):
        true, false = (true + 1, 0) if holds else (0, false + 1)
        state = (false < OFF_MINUTES) if state else (true >= ON_MINUTES)
        out[k] = state
    return out


def drift_alarms(readings: Gridded) -> dict[int, NDArray[np.bool_]]:
    """Tell when it alarms, each minute, for a fire that gains (1) and one that fades (-1)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        level, n = _clean_level(readings), WINDOW_MINUTES // 3
        threes = np.nanmean(level[: len(level) // 3 * 3].reshape(-1, 3), 1)
        i, j = np.triu_indices(n, 1)
        hours = (j - i) * 3 / 60.0
        slope = np.full(len(threes), np.nan)
        for k in range(n, len(threes) + 1):
            window = threes[k - n : k]
            if np.isnan(window).sum() < 0.6 * n:
                slope[k - 1] = np.nanmedian((window[j] - window[i]) / hours)
        slope = np.repeat(slope, 3)
        slope = np.concatenate([slope, np.full(len(level) - len(slope), np.nan)])
        moved = slope * WINDOW_MINUTES / 60
        return {way: _held((way * slope > SLOPE_F_PER_HOUR) & (way * moved > MOVED_F)) for way in (1, -1)}
