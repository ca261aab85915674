"""Reference screening of probes and doors on the grid of 30 s: textbook rules, nothing learned."""

import warnings
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tests.bench.quality.nights.night_files import Array, Gridded

__all__ = ["door_open", "rolling", "screened", "zone_means"]

STALE_SECONDS = 180.0
LOWEST_F, HIGHEST_F = 35.0, 600.0
STEP_F = 25.0
"""A change within 3 min that the other probes do not share is a spike."""
STILL_STEPS, STILL_F, MOVED_F = 40, 0.05, 5.0
"""A probe is stuck that stands still for 20 min while the others move."""


def rolling(x: Array, steps: int, statistic: Callable[..., Array] = np.nanmedian) -> Array:
    """Take a statistic over the last `steps` of each column; shape as the input, (steps, columns)."""
    padded = np.concatenate([np.full((steps - 1, *x.shape[1:]), np.nan), x])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # windows without a value
        return statistic(np.lib.stride_tricks.sliding_window_view(padded, steps, 0), axis=-1)


def screened(readings: Gridded) -> Array:
    """Give the grate probes with values that are out of range, stale, a spike or stuck taken out (NaN)."""
    grate = readings.grate
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        x = np.where(readings.age[:, grate] > STALE_SECONDS, np.nan, readings.last[:, grate])
        x = np.where((x < LOWEST_F) | (x > HIGHEST_F), np.nan, x)
        move = x - rolling(x, 7)
        x = np.where(np.abs(move - np.nanmedian(move, 1, keepdims=True)) > STEP_F, np.nan, x)
        still = rolling(x, STILL_STEPS, np.nanmax) - rolling(x, STILL_STEPS, np.nanmin) < STILL_F
        others = np.nanmedian(x, 1)
        moved = rolling(others, STILL_STEPS, np.nanmax) - rolling(others, STILL_STEPS, np.nanmin) > MOVED_F
        late = np.arange(len(x)) > STILL_STEPS
        return np.where(still & moved[:, None] & late[:, None], np.nan, x)


def door_open(
    x: Array, drop: float = 12.0, share: float = 0.6, back: float = 8.0, longest: int = 24
) -> NDArray[np.bool_]:
    """Tell when the door is open: from a sudden common fall until the chamber is back, at most 12 min."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        fall = rolling(x, 5, np.nanmax) - x
        hit = np.nanmean(np.where(np.isnan(x), np.nan, fall > drop), 1) > share
        fast = np.nanmedian(x[2:] - x[:-2], 1) < -6
        middle = np.nanmedian(x, 1)
        hit &= np.concatenate([[False, False], fast])
        state, level, since, out = False, 0.0, 0, np.zeros(len(x), bool)
        for k in range(len(x)):
            if hit[k] and not state:
                state, since, level = True, k, float(np.nanmax(middle[max(0, k - 6) : k + 1]))
            if state and not hit[k] and (middle[k] > level - back or k - since > longest):
                state = False
            out[k] = state
    return out


def zone_means(x: Array, zones: NDArray[np.int64], count: int = 6) -> Array:
    """Average the probes of each zone; NaN for a zone without a value."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.stack(
            [np.nanmean(x[:, zones == j], 1) if (zones == j).any() else np.full(len(x), np.nan) for j in range(count)],
            1,
        )
