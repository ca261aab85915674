"""What each probe of a level usually says, given how hot the level is and how fast it rises.

A place near the firebox swings more than one by the stack, and sooner. So a probe's distance from its level is
followed as a line, u + b (level − reference) + g (rate of the level), by least squares with a memory of some hours.
What is left over is a change at that place: the saw-tooth of the fire is gone from it, and so is what the probe is
always off by. What was heard in the last minutes has no say in it yet, so that a change does not explain itself away.
"""

from collections import deque

import numpy as np
from numpy.typing import NDArray

from collector.model.field import Array
from collector.model.robust import median

__all__ = ["Pattern"]

MEMORY_SECONDS = 12 * 3600.0
LAG_SECONDS = 1500.0
NEEDS_SECONDS = 1200.0
SMOOTH_SECONDS = 90.0
SLOW_SHARE, SLOWEST_SHARE = 0.15, 0.03
"""How much of its weight a sample of a probe keeps that stands far from its usual, or is not believed: while that is
new, and once it is well known. A leak of hours must not become the usual, or its end would look like a change."""
WELL_KNOWN_SECONDS = 5400.0
FAR_KELVIN = 2.5
PRIOR_SD: Array = np.array([20.0, 0.10, 60.0])
"""Of the distance (kelvin), its share in the level's swing, and in its rate (seconds): a few tenths of the swing and a
minute's lag are all that place and probe make (common practice, no source)."""
SAMPLE_SD_KELVIN = 1.5
"""Of one sample against the line: neighbours in time tell the same, so each counts for less than its noise says."""
WANDER_FLOOR_KELVIN = 0.35
FASTEST = 0.03
"""Kelvin a second: a level that rises faster than any fire lets it tells nothing of what is usual."""
STRAY_KELVIN = 4.0
"""A probe that stands further off than this moves its level no more than by it."""


class Pattern:
    """Follows the probes of one level.

    Args:
        probes: how many the level has.
        step_seconds: time between two looks.
    """

    def __init__(self, probes: int, step_seconds: float) -> None:
        self._step = step_seconds
        self._gram: Array = np.zeros((probes, 3, 3))
        self._right: Array = np.zeros((probes, 3))
        self._seconds: Array = np.zeros(probes)
        self._line: Array = np.zeros((probes, 3))
        self._waiting: deque[tuple[float, Array, Array, Array]] = deque()
        self._reference = float("nan")
        self._slow_level = float("nan")
        self._regressors: Array = np.array([1.0, 0.0, 0.0])
        self.level_celsius = float("nan")
        """Mean of the probes less what they usually differ by: it does not move when one comes or goes."""
        self.change: Array = np.full(probes, np.nan)
        """How far each probe stands from its usual, smoothed over a minute or two, kelvin; NaN until it is known."""
        self._fast: Array = np.full(probes, np.nan)
        self._wander2: Array = np.full(probes, np.nan)

    @property
    def known(self) -> NDArray[np.bool_]:
        """Which probes have been heard long enough to have a usual, shape (probes,)."""
        return self._seconds >= NEEDS_SECONDS

    @property
    def wander_kelvin(self) -> float:
        """How far a sound probe of this level strays from its usual, one standard deviation."""
        wander = np.sqrt(self._wander2[np.isfinite(self._wander2)])
        return max(WANDER_FLOOR_KELVIN, float(np.sort(wander)[wander.size // 2]) if wander.size else 1.0)

    @property
    def usual(self) -> Array:
        """What each probe differs from the level by now if all is as usual, shape (probes,), kelvin."""
        return np.asarray(np.where(self.known, self._line @ self._regressors, np.nan))

    @property
    def standing(self) -> Array:
        """What each probe differs by at the level's middle, shape (probes,), kelvin: the pit's own pattern."""
        return np.asarray(np.where(self.known, self._line[:, 0], np.nan))

    def look(self, celsius: Array, used: NDArray[np.bool_]) -> None:
        """Take the probes of the level at one look, shape (probes,), and which of them are believed."""
        told = used & np.isfinite(celsius)
        if not told.any():
            self.level_celsius = float("nan")
            self._fast[:] = np.nan
            self.change[:] = np.nan
            return
        known = self.known
        sure = told & known
        usual = self._line @ self._regressors
        level = _middle((celsius - usual)[sure]) if sure.any() else float(celsius[told].mean())
        self.level_celsius = level
        if self._slow_level != self._slow_level:
            self._slow_level = level
        share = self._step / 120.0
        rate = min(FASTEST, max(-FASTEST, (level - self._slow_level) / 120.0))
        self._slow_level += share * (level - self._slow_level)
        if self._reference != self._reference:
            self._reference = level
        self._regressors = np.array([1.0, level - self._reference, rate])
        change = np.where(known, celsius - level - self._line @ self._regressors, np.nan)
        keep = self._step / SMOOTH_SECONDS
        self._fast = np.where(np.isfinite(self._fast), self._fast + keep * (change - self._fast), change)
        self.change = self._fast

    def learn(self, now_unix: float, celsius: Array, used: NDArray[np.bool_], seconds: float) -> None:
        """Let a calm moment, `seconds` after the last, count for what is usual; it does so after a while."""
        if self.level_celsius != self.level_celsius:
            return
        away = celsius - self.level_celsius
        weight = np.where(np.isfinite(away), 1.0, 0.0)
        far = ~used | (np.abs(np.nan_to_num(self.change)) > FAR_KELVIN)
        slow = np.where(self._seconds > WELL_KNOWN_SECONDS, SLOWEST_SHARE, SLOW_SHARE)
        weight = np.where(far & self.known, weight * slow, np.where(used, weight, 0.0))
        self._waiting.append((now_unix, self._regressors, away, weight))
        fade = np.exp(-seconds / MEMORY_SECONDS)
        taken = False
        while self._waiting and (
            now_unix - self._waiting[0][0] > LAG_SECONDS or not self.known[self._waiting[0][3] > 0].all()
        ):
            _, z, value, w = self._waiting.popleft()
            self._take(z, value, w, seconds, fade)
            taken = True
        if taken:
            self._solve()
        self._follow_wander(used, seconds)

    def _take(self, z: Array, away: Array, weight: Array, seconds: float, fade: float) -> None:
        old = np.where(weight > 0, fade**weight, 1.0)
        self._gram *= old[:, None, None]
        self._right *= old[:, None]
        self._gram += weight[:, None, None] * np.outer(z, z)
        self._right += (weight * np.nan_to_num(away))[:, None] * z
        self._seconds += weight * seconds

    def _solve(self) -> None:
        prior = np.diag((SAMPLE_SD_KELVIN / PRIOR_SD) ** 2)
        solved = np.linalg.solve(self._gram + prior, self._right[..., None])
        self._line = np.asarray(solved[..., 0], dtype=np.float64)

    def _follow_wander(self, used: NDArray[np.bool_], seconds: float) -> None:
        square = np.where(used & (np.abs(self.change) < FAR_KELVIN), self.change**2, np.nan)
        keep = seconds / 7200.0
        old = self._wander2
        fresh: Array = np.where(np.isfinite(old), old + keep * (square - old), square)
        self._wander2 = np.where(np.isfinite(square), fresh, old)

    def forget(self, probe: int) -> None:
        """Begin anew with one probe: it was moved, or exchanged."""
        self._gram[probe] = 0.0
        self._right[probe] = 0.0
        self._seconds[probe] = 0.0
        self._fast[probe] = np.nan
        for _, _, _, weight in self._waiting:
            weight[probe] = 0.0


def _middle(celsius: Array) -> float:
    """Give the mean of what the probes say of their level, those far off drawn in to the median (Huber, 1964)."""
    middle = float(median(celsius))
    return middle + float(np.minimum(np.maximum(celsius - middle, -STRAY_KELVIN), STRAY_KELVIN).mean())
