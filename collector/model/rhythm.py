"""When the cook lays a split: a turn of the level from falling to rising that lasts, and the habit such turns make."""

import math
from collections import deque

import numpy as np

from collector.model.robust import median, quantiles

__all__ = ["JOIN_SECONDS", "Rhythm"]

USUAL_RISE_KELVIN = 1.5
LEAST_RISE_KELVIN, MOST_RISE_KELVIN = 0.9, 2.5
RISE_SHARE = 0.25
"""Of the usual swing: a rise by that much is a turn, not an eddy."""
FALL_SHARE = 0.7
QUIET_SECONDS = 600.0
JOIN_SECONDS = 1200.0
"""What the cook marks so near what was seen is the same: hands are full at the pit, and a split shows once it burns."""
NEEDS_INTERVALS = 2
REMEMBERED = 8
"""Intervals the habit is read from: the newest."""


class Rhythm:
    """Follows the refuels of one fire."""

    def __init__(self) -> None:
        self.refuels: deque[float] = deque(maxlen=64)
        """When each was seen to have begun, Unix seconds."""
        self.count = 0
        self._told: float | None = None
        """The newest the cook told of before it was seen."""
        self._rising = True
        self._extreme = (-math.inf, 0.0)
        """Of the way up or down that is under way: the level furthest along, and when."""

    def pause(self) -> None:
        """Let a time pass in which the level tells nothing of the fire."""
        self._rising, self._extreme = True, (-math.inf, 0.0)

    def look(self, now_unix: float, level_celsius: float, swing_kelvin: float) -> float | None:
        """Take the level at one look; give the time of a refuel that has just become sure.

        Args:
            now_unix: the time.
            level_celsius: the level, smoothed over a minute or two; NaN says nothing.
            swing_kelvin: from trough to crest as it usually is; NaN while that is not known.
        """
        if math.isnan(level_celsius):
            return None
        needed = USUAL_RISE_KELVIN
        if swing_kelvin == swing_kelvin:
            needed = min(max(RISE_SHARE * swing_kelvin, LEAST_RISE_KELVIN), MOST_RISE_KELVIN)
        if self._rising:
            self._extreme = max(self._extreme, (level_celsius, now_unix))
            if level_celsius < self._extreme[0] - FALL_SHARE * needed:
                self._rising, self._extreme = False, (level_celsius, now_unix)
            return None
        self._extreme = min(self._extreme, (level_celsius, now_unix))
        lowest, when = self._extreme
        if level_celsius < lowest + needed:
            return None
        self._rising, self._extreme = True, (level_celsius, now_unix)
        quiet = JOIN_SECONDS if self.refuels and self.refuels[-1] == self._told else QUIET_SECONDS
        self._told = None
        if self.refuels and when - self.refuels[-1] < quiet:
            return None
        self.refuels.append(when)
        self.count += 1
        return when

    def risen_kelvin(self, level_celsius: float) -> float:
        """Give how far the level stands above the lowest since it last fell; 0 while it is on its way up."""
        return 0.0 if self._rising else level_celsius - self._extreme[0]

    def tell(self, time_unix: float) -> None:
        """Take a split the cook says he laid: the nearest that was seen is the same, or the next that will be."""
        if not self.confirm(time_unix):
            self._told = time_unix

    def confirm(self, time_unix: float) -> bool:
        """Take a refuel for certain; tell whether it was known, by the nearest within `JOIN_SECONDS`."""
        near = [r for r in self.refuels if abs(r - time_unix) <= JOIN_SECONDS]
        if near:
            self.refuels.remove(min(near, key=lambda r: abs(r - time_unix)))
        self.refuels = deque(sorted([*self.refuels, time_unix]), maxlen=64)
        self.count += not near
        return bool(near)

    def delete(self, time_unix: float) -> None:
        """Forget a refuel that was none."""
        if time_unix in self.refuels:
            self.refuels.remove(time_unix)
            self.count -= 1

    @property
    def period_seconds(self) -> float:
        """Time between refuels by habit; NaN until there is one.

        Not every split shows, so a gap may be two or three of the cook's: each is divided by how often the shortest
        usual one goes into it.
        """
        if len(self.refuels) <= NEEDS_INTERVALS:
            return math.nan
        gaps = np.diff(np.array(self.refuels))[-REMEMBERED:]
        base = quantiles(gaps, (0.25,))[0]
        return float(median(gaps / np.maximum(np.round(gaps / base), 1.0)))

    @property
    def due_unix(self) -> float:
        """When the next split is due by this habit; NaN until there is one."""
        return self.refuels[-1] + self.period_seconds if self.refuels else math.nan
