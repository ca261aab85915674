"""Reference cold-spot detector: a Gaussian process over the grate, a limit and an on-delay."""

import numpy as np
from numpy.typing import NDArray

from tests.bench.quality.nights.night_files import Array, Gridded, Night
from tests.bench.quality.nights.reference.screening import door_open, rolling, screened

__all__ = ["cold_alarms", "latch"]

LIMIT_F, BAND_F, ON_MINUTES, OFF_STEPS, WINDOW_STEPS = 15.0, 3.0, 5.0, 10, 10
NOISE_F, FIELD_F, LENGTH_X, LENGTH_Y = 1.8, 5.0, 0.35, 0.8
PRIOR_F = (60.0, 40.0, 8.0)
"""Standard deviations of level, slope along the chamber and slope across it."""


def latch(
    over: NDArray[np.bool_], under: NDArray[np.bool_], on_steps: int, off_steps: int, frozen: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Raise after `on_steps` over, clear after `off_steps` under, with the timers stopped while frozen."""
    out, on = np.zeros(over.shape, bool), np.zeros(over.shape[1], bool)
    above, below = np.zeros(over.shape[1], int), np.zeros(over.shape[1], int)
    for k in range(len(over)):
        if not frozen[k]:
            above = np.where(over[k], above + 1, 0)
            below = np.where(under[k], below + 1, 0)
            on = np.where(on, below < max(off_steps, 1), above >= max(on_steps, 1))
        out[k] = on
    return out


def _operator(places: Array, length: float, width: float) -> Array:
    """Zone deficits as a linear map of readings: Matern 3/2 with a linear trend, zones of 12 cells of the grid."""
    gx, gy = np.meshgrid((np.arange(12) + 0.5) / 12 * length, ((np.arange(6) + 0.5) / 6 - 0.5) * width, indexing="ij")
    cells = np.column_stack([gx.ravel(), gy.ravel()])
    zone = 2 * np.minimum((3 * cells[:, 0] / length).astype(int), 2) + (cells[:, 1] >= 0)
    contrast = np.full((6, 72), 1 / 72) - (zone[None] == np.arange(6)[:, None]) / 12

    def covariance(p: Array, q: Array) -> Array:
        d = np.hypot(
            (p[:, None, 0] - q[None, :, 0]) / (LENGTH_X * length), (p[:, None, 1] - q[None, :, 1]) / (LENGTH_Y * width)
        )
        trend = [np.column_stack([np.ones(len(z)), z[:, 0] / length - 0.5, z[:, 1] / width]) for z in (p, q)]
        smooth = FIELD_F**2 * (1 + np.sqrt(3) * d) * np.exp(-np.sqrt(3) * d)
        return smooth + trend[0] @ np.diag(np.array(PRIOR_F) ** 2) @ trend[1].T

    noisy = covariance(places, places) + NOISE_F**2 * np.eye(len(places))
    return contrast @ np.linalg.solve(noisy, covariance(places, cells)).T


def cold_alarms(night: Night, readings: Gridded) -> NDArray[np.bool_]:
    """Tell which zones it alarms for, on the grid of 30 s; shape (steps, zones)."""
    x = screened(readings)
    door = door_open(x)
    y = rolling(np.where(door[:, None], np.nan, x), WINDOW_STEPS)
    places = np.array([p["position"][:2] for p in night.probes["probes"] if p["kind"] == "grate"])
    chamber, operators = night.probes["chamber"], dict[bytes, Array]()
    deficit, known = np.full((len(y), 6), np.nan), ~np.isnan(y)
    for t in range(len(y)):
        here = known[t]
        if here.sum() >= 4:
            key = here.tobytes()
            if key not in operators:
                operators[key] = _operator(places[here], chamber["length_m"], chamber["diameter_m"])
            deficit[t] = operators[key] @ (y[t, here] - y[t, here].mean())
    steps = int(ON_MINUTES * 60 / 30)
    return latch(deficit > LIMIT_F, deficit < LIMIT_F - BAND_F, steps, OFF_STEPS, door)
