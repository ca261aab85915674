"""Which probes lie: stuck while the others move, or away from what their neighbours say.

A probe is compared with its own usual disagreement, learned while the chamber was steady, so that a place that is
always a little hot is not accused for it. A cold spot is felt by its neighbours too and moves each of them by a
part; a lying probe stands alone with the whole of it.
"""

import numpy as np
from numpy.typing import NDArray

from adapters.reading import Reason
from collector.model.field import Array
from collector.model.robust import median

__all__ = ["LyingWatch"]

STUCK_SECONDS = 1200.0
OTHERS_MOVED_KELVIN = 3.0
LEARN_SECONDS = 10 * 3600.0
"""The usual disagreement is the mean over this long: slower than a fault, and it still follows the fire."""
LEARN_AT_LEAST_SECONDS = 1800.0
SMOOTH_SECONDS = 120.0
GOES_WITH_SHARE = 0.35


class LyingWatch:
    """Keeps, for each probe, how far it stands from its neighbours beyond its usual.

    Args:
        probes: how many probes the plan has.
        chamber: which of them are chamber probes, shape (probes,).
        step_seconds: time between two looks.
        limit_kelvin: how far a probe may stand from what its neighbours say.
        neighbours: which probes are near enough to feel the same cold spot, shape (probes, probes).
    """

    def __init__(
        self,
        probes: int,
        chamber: NDArray[np.bool_],
        step_seconds: float,
        limit_kelvin: float,
        neighbours: NDArray[np.bool_],
    ) -> None:
        self._chamber = chamber
        self._neighbours = neighbours
        self._step = step_seconds
        self._limit = limit_kelvin
        self._learned: Array = np.zeros(probes)
        self._usual: Array = np.full((2, probes), np.nan)
        """Usual residual, and usual distance from the level's mean."""
        self._smooth: Array = np.full((2, probes), np.nan)
        self.stuck: NDArray[np.bool_] = np.zeros(probes, dtype=bool)
        self.accused: NDArray[np.bool_] = np.zeros(probes, dtype=bool)

    def look(self, probes: NDArray[np.intp], residual: Array, own: Array) -> None:
        """Take one level's probes at one look, while the fire is steady.

        Args:
            probes: which they are, shape (k,).
            residual: value less what the neighbours say, shape (k,); NaN where there is no telling.
            own: value less the level's mean, shape (k,).
        """
        known = np.isfinite(residual) & np.isfinite(own)
        which = probes[known]
        if which.size == 0:
            return
        both = np.stack([residual[known], own[known]])
        old = self._smooth[:, which]
        share = self._step / SMOOTH_SECONDS
        smooth = self._smooth[:, which] = np.where(np.isfinite(old), old + share * (both - old), both)
        free = ~self.accused[which]
        self._learned[which] += free
        weight = np.where(free, np.maximum(1.0 / np.maximum(self._learned[which], 1.0), self._step / LEARN_SECONDS), 0)
        old = self._usual[:, which]
        usual = self._usual[:, which] = np.where(np.isfinite(old), old + weight * (both - old), both)
        self._accuse(which, smooth - usual)

    def _accuse(self, which: NDArray[np.intp], shift: Array) -> None:
        """Accuse at most one more probe a look, the one furthest off: it pulls its neighbours' residuals with it.

        It must have moved by itself, not only seen its neighbours move away, and no neighbour may have gone some of
        the way with it: to take a cold spot for two liars would hide it.
        """
        ready = self._learned[which] * self._step >= LEARN_AT_LEAST_SECONDS
        off, own = np.abs(shift[0]), shift[1]
        suspect = ready & (off > self._limit) & (np.abs(own) > 0.7 * self._limit)
        if suspect.any():
            share = own[None, :] / np.where(own == 0.0, np.inf, own)[:, None]
            with_it = self._neighbours[np.ix_(which, which)] & ~self.accused[which] & (share > GOES_WITH_SHARE)
            suspect &= ~with_it.any(axis=1)
        cleared = self.accused[which] & (off < 0.6 * self._limit)
        self.accused[which[cleared]] = False
        fresh = suspect & ~self.accused[which]
        if fresh.any():
            self.accused[which[int(np.argmax(np.where(fresh, off, -1.0)))]] = True

    def look_for_stuck(self, window: Array) -> None:
        """Find chamber probes that never moved while the others did, from the last 20 min, shape (probes, looks)."""
        if window.shape[1] * self._step < STUCK_SECONDS:
            return
        known = np.isfinite(window)
        enough = known.mean(axis=1) > 0.5
        high = np.where(known, window, -np.inf).max(axis=1)
        low = np.where(known, window, np.inf).min(axis=1)
        swing = np.where(enough, high - low, np.inf)
        others = swing[self._chamber & enough]
        moved = others.size >= 3 and float(median(others)) > OTHERS_MOVED_KELVIN
        still = self._chamber & enough & (swing < 1e-9)
        self.stuck = still & (self.stuck | moved)

    def reason(self, probe: int) -> Reason:
        """Say what is wrong with a probe now, if anything."""
        if self.stuck[probe]:
            return Reason.STUCK
        return Reason.DISAGREES if self.accused[probe] else Reason.NONE
