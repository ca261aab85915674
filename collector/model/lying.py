"""Which probes lie: stuck while the others move, or away from what their neighbours say.

A probe is compared with its own usual disagreement, learned while the chamber was steady, so that a place that is
always a little hot is not accused for it. A cold spot is felt by its neighbours too and moves each of them by a
part; a lying probe stands alone with the whole of it.
"""

import numpy as np
from numpy.typing import NDArray

from adapters.reading import Reason
from collector.model.field import Array

__all__ = ["LyingWatch"]

STUCK_SECONDS = 1200.0
OTHERS_MOVED_KELVIN = 3.0
LEARN_SECONDS = 14400.0
"""The usual disagreement is the mean over this long: slower than a fault worth a call, and it still follows the fire."""
SMOOTH_SECONDS = 120.0


class LyingWatch:
    """Keeps, for each probe, how far it stands from its neighbours beyond its usual.

    Args:
        probes: how many probes the plan has.
        chamber: which of them are chamber probes, shape (probes,).
        step_seconds: time between two looks.
    """

    def __init__(self, probes: int, chamber: NDArray[np.bool_], step_seconds: float) -> None:
        self._chamber = chamber
        self._step = step_seconds
        self._usual: Array = np.full(probes, np.nan)
        self._learned: Array = np.zeros(probes)
        self.excess_kelvin: Array = np.full(probes, np.nan)
        """Smoothed distance from the usual disagreement, absolute; NaN where there is no telling."""
        self.sigmas: Array = np.full(probes, np.nan)
        """The same in deviations expected of it."""
        self._smooth: Array = np.full(probes, np.nan)
        self.stuck: NDArray[np.bool_] = np.zeros(probes, dtype=bool)

    def look(self, probes: NDArray[np.intp], residual: Array, deviation: Array, *, learn: bool) -> None:
        """Take the residuals of one level's probes, shape (k,), at one look; learn from them while all is steady."""
        known = np.isfinite(residual)
        which, r = probes[known], residual[known]
        fresh = ~np.isfinite(self._smooth[which])
        share = self._step / SMOOTH_SECONDS
        self._smooth[which] = np.where(fresh, r, self._smooth[which] + share * (r - self._smooth[which]))
        if learn:
            count = self._learned[which] + 1.0
            weight = np.maximum(1.0 / count, self._step / LEARN_SECONDS)
            usual = np.where(np.isfinite(self._usual[which]), self._usual[which], r)
            self._usual[which] = usual + weight * (r - usual)
            self._learned[which] = count
        ready = self._learned[which] * self._step >= 900.0
        excess = np.abs(self._smooth[which] - self._usual[which])
        self.excess_kelvin[which] = np.where(ready, excess, np.nan)
        self.sigmas[which] = np.where(ready, excess / deviation[known], np.nan)

    def look_for_stuck(self, window: Array) -> None:
        """Find chamber probes that never moved while the others did, from the last 20 min, shape (probes, looks)."""
        if window.shape[1] * self._step < STUCK_SECONDS:
            return
        enough = np.isfinite(window).mean(axis=1) > 0.5
        high = np.where(np.isfinite(window), window, -np.inf).max(axis=1)
        low = np.where(np.isfinite(window), window, np.inf).min(axis=1)
        swing = np.where(enough, high - low, np.nan)
        others = swing[self._chamber & enough]
        moved = others.size >= 3 and float(np.median(others)) > OTHERS_MOVED_KELVIN
        self.stuck = self._chamber & enough & (swing < 1e-9) & moved | (self.stuck & enough & (swing < 1e-9))

    def reason(self, probe: int, limit_kelvin: float) -> Reason:
        """Say what is wrong with a probe now, if anything."""
        if self.stuck[probe]:
            return Reason.STUCK
        if self.excess_kelvin[probe] > limit_kelvin and self.sigmas[probe] > 2.0:
            return Reason.DISAGREES
        return Reason.NONE
