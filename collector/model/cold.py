"""How cold each zone runs against its level: by what the map says now, and by how fast it grows colder.

The map gives the deficit of each zone as a normal distribution. A zone is too cold when P(deficit > limit) has stayed
above 70 % for some minutes: the number that every screen shows is above the limit by half of its deviation. What a
probe is off by cancels in how much colder a zone has become tonight, so growth is known far better than standing, and
a zone that grows colder is judged a few minutes ahead.
"""

from collections import deque

import numpy as np

from collector.model.field import Array
from collector.model.robust import median

__all__ = ["ColdWatch"]

RUN_SECONDS = 150.0
"""The least deficit of this time is held against the limit, so one look above it raises nothing."""
STANDING_SD_KELVIN = 6.0
"""How far zones of a pit stand from their level's mean (on nights of other simulators; no published source)."""
COOK_TO_COOK_KELVIN = 2.0
"""How far a zone's standing differs from one cook to the next."""
SURE_SIGMAS = 0.524
"""A normal value is above its mean less this many standard deviations with a probability of 70 %."""
GROWN_KELVIN = 2.0
"""Colder than usual by this much is a change."""
WELL_KELVIN = 3.0
"""A zone no colder than this has no cold spot to explain."""
LEAD_SECONDS = 240.0
MOST_LEAD_KELVIN = 2.5
"""No leak that fills a zone grows faster than this allows for; a jump is no growth to be led on."""
DOUBT_SHARE = 0.2
"""Of what has grown, so many deviations are counted against the zone: a cold spot missed costs more than a walk."""
GROWTH_STEP_SECONDS = 30.0
RATE_LOOKS = 20


class ColdWatch:
    """Follows the deficit of every zone: level mean less zone mean.

    Args:
        zones: how many.
        step_seconds: time between two looks.
    """

    def __init__(self, zones: int, step_seconds: float) -> None:
        self._step = step_seconds
        self._run: deque[Array] = deque(maxlen=round(RUN_SECONDS / step_seconds))
        """The deficits of the last looks."""
        self._looked_unix = 0.0
        self._standing: Array = np.full(zones, np.nan)
        self._grown: Array = np.full(zones, np.nan)
        self._past: deque[tuple[float, Array]] = deque(maxlen=RATE_LOOKS)
        self.rates: Array = np.zeros(zones)
        """How fast each deficit grows, shape (zones,), kelvin a second."""
        self._changed = np.zeros(zones, dtype=bool)
        """Which have grown colder tonight, and have not been well since."""
        self._looks = 0

    def look(self, now_unix: float, deficit_kelvin: Array, standing_kelvin: Array) -> None:
        """Take all zones at one look, while all is steady and the lid shut; NaN changes nothing.

        Args:
            now_unix: when it is; what grew while the lid was open did not grow within one look.
            deficit_kelvin: as the probes have it, shape (zones,).
            standing_kelvin: what it would be if all were as usual, shape (zones,).
        """
        if now_unix - self._looked_unix > GROWTH_STEP_SECONDS:
            self._run.clear()  # a door was open: what was before it says nothing of now
        self._looked_unix = now_unix
        self._run.append(deficit_kelvin)
        self._standing, self._grown = standing_kelvin, deficit_kelvin - standing_kelvin
        self._changed = (self._changed | (self._grown >= GROWN_KELVIN)) & ~(deficit_kelvin < WELL_KELVIN)
        if self._looks % round(GROWTH_STEP_SECONDS / self._step) == 0:
            self._past.append((now_unix, self._grown))
            self.rates = self._rate()
        self._looks += 1

    def _rate(self) -> Array:
        """Give how fast each deficit grows, kelvin a second: median of the second half less that of the first."""
        if len(self._past) < RATE_LOOKS // 2:
            return np.zeros_like(self._grown)
        times, grown = np.array([at for at, _ in self._past]), np.array([kelvin for _, kelvin in self._past]).T
        half = len(self._past) // 2
        rise = median(grown[:, -half:]) - median(grown[:, :half])
        return np.asarray(np.nan_to_num(rise) / float(times[-half:].mean() - times[:half].mean()))

    def grew(self, zone: int) -> bool:
        """Tell whether a zone has become colder tonight than it was, however long ago."""
        return bool(self._changed[zone])

    def judged(self, sd_kelvin: Array, usual_kelvin: Array, base_kelvin: Array) -> Array:
        """Give the deficit to hold against the limit, shape (zones,), kelvin; NaN until there is one.

        Args:
            sd_kelvin: standard deviation of each zone's deficit, shape (zones,).
            usual_kelvin: what the deficit was in earlier cooks, shape (zones,); NaN where none tells.
            base_kelvin: what is taken off the deficit before it is held against the limit, shape (zones,).
        """
        growing = self.growing(sd_kelvin, usual_kelvin)
        if len(self._run) < (self._run.maxlen or 0):
            return np.asarray(growing - base_kelvin)
        standing = np.min(self._run, axis=0) - SURE_SIGMAS * sd_kelvin
        return np.asarray(np.fmax(growing, standing) - base_kelvin)

    def growing(self, sd_kelvin: Array, usual_kelvin: Array) -> Array:
        """Give the deficit of each zone that has grown colder, shape (zones,), kelvin, a few minutes ahead; else NaN.

        What it stood at is drawn toward what is expected of it, the more the less sure it is (both normal; Gelman et
        al., *Bayesian Data Analysis*, 2.5); what it grew by counts in full.
        """
        told = np.isfinite(usual_kelvin)
        expected = np.where(told, usual_kelvin, 0.0)
        prior2 = np.where(told, COOK_TO_COOK_KELVIN, STANDING_SD_KELVIN) ** 2
        believed = expected + (self._standing - expected) * prior2 / (prior2 + sd_kelvin**2)
        ahead = np.maximum(np.clip(LEAD_SECONDS * self.rates, 0.0, MOST_LEAD_KELVIN), DOUBT_SHARE * sd_kelvin)
        return np.where(self._grown >= GROWN_KELVIN, believed + self._grown + ahead, np.nan)
