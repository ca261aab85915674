"""How cold each zone runs against its level, told fast when it changes and surely when it has always been so.

The stack end of an even pit is some kelvin below the mean all night, and the saw-tooth of the fire moves that to and
fro. So a zone is judged twice: by the last minute, when it also runs clearly colder than it usually does tonight;
and by the last half hour whatever is usual, less what the probes themselves may be off by.
"""

import numpy as np

from collector.model.field import Array

__all__ = ["ColdWatch"]

FAST_SECONDS = 60.0
SLOW_SECONDS = 1800.0
USUAL_SECONDS = 4 * 3600.0
USUAL_NEEDS_SECONDS = 1800.0
GROWN_KELVIN = 3.6
"""Colder than usual by this much is a change, not the saw-tooth."""
SURE_SIGMAS = 2.0
SURE_BELOW_SD_KELVIN = 0.7
UNSURE_SIGMAS = 1.5
"""A zone that rests on a single probe, or on none, has to show more before it is called."""


class ColdWatch:
    """Follows the deficit of every zone: level mean less zone mean.

    Args:
        zones: how many.
        step_seconds: time between two looks.
        limit_kelvin: the deficit that is a cold spot.
    """

    def __init__(self, zones: int, step_seconds: float, limit_kelvin: float) -> None:
        self._step = step_seconds
        self._limit = limit_kelvin
        self._looks: Array = np.zeros(zones)
        self._fast: Array = np.full(zones, np.nan)
        self._slow: Array = np.full(zones, np.nan)
        self._usual: Array = np.full(zones, np.nan)

    def look(self, zones: list[int], deficit_kelvin: Array) -> None:
        """Take the deficits of some zones at one look, while all is steady and the lid shut; NaN changes nothing."""
        known = np.isfinite(deficit_kelvin)
        which, deficit = np.array(zones, dtype=np.intp)[known], deficit_kelvin[known]
        self._looks[which] += 1
        for mean, seconds in ((self._fast, FAST_SECONDS), (self._slow, SLOW_SECONDS), (self._usual, USUAL_SECONDS)):
            weight = np.maximum(1.0 / self._looks[which], self._step / seconds)
            old = mean[which]
            mean[which] = np.where(np.isfinite(old), old + weight * (deficit - old), deficit)

    def judged(self, sd_kelvin: Array) -> Array:
        """Give the deficit to hold against the limit, shape (zones,), kelvin; NaN until there is one.

        Args:
            sd_kelvin: standard deviation of each zone's mean, shape (zones,).
        """
        seconds = self._looks * self._step
        now = self._fast - UNSURE_SIGMAS * np.maximum(sd_kelvin - SURE_BELOW_SD_KELVIN, 0.0)
        grown = self._limit + (now - self._usual) - GROWN_KELVIN
        fast = np.where(seconds >= USUAL_NEEDS_SECONDS, np.fmin(now, grown), np.nan)
        slow = np.where(seconds >= SLOW_SECONDS, self._slow - SURE_SIGMAS * sd_kelvin, np.nan)
        return np.fmax(fast, slow)
