"""The lid as the chamber shows it: open on a fall no fire can make, shut on the first lasting rise, then the way back.

A chamber that lost its heat comes back in two strides: the air from the walls within some ten minutes, the walls from
the fire within the hour. What is still missing from the last openings is added up, so that a level that has not come
back yet is not held against the fire.
"""

import math
from dataclasses import dataclass

import numpy as np

from collector.model.field import Array
from collector.model.robust import median

__all__ = ["LidWatch"]

DROP_GRATE_KELVIN = 5.0
DROP_TOP_KELVIN = 12.0
SHUT_RISE_KELVIN = 1.0
SETTLING_SECONDS = 420.0
"""Probes lag and the air mixes: for so long after the lid is shut, no zone is judged."""
BACK = ((0.75, 720.0), (0.25, 3000.0))
"""Share of the loss and time constant of each stride (fitted to rehearsed openings of drawn pits, where three in four
come back faster)."""
NOT_RISING_SECONDS = 300.0
NOT_RISING_KELVIN = 1.0
GONE_KELVIN = 0.5
REGAINED_SHARE = 0.4
"""With so much of the fall regained the lid is surely shut: what is lost later is lost to the fire."""


@dataclass(frozen=True, slots=True)
class _Loss:
    """What one opening cost."""

    shut_unix: float
    kelvin: float


class LidWatch:
    """Follows the lid of one pit."""

    def __init__(self) -> None:
        self.open_unix: float | None = None
        """Since when it stands open; None while it is shut."""
        self.shut_unix: float | None = None
        """When it was shut last; None before the first time."""
        self.since_unix = 0.0
        """When the opening began from which the level has not come back yet; 0 when it has."""
        self.openings = 0
        self.regained = True
        """The level has come back far enough from the last opening to tell that the lid did shut."""
        self._before = math.nan
        self._low = math.nan
        self._losses: list[_Loss] = []

    def look(self, now_unix: float, step_seconds: float, past: Array, grate_fall: float, top_fall: float) -> bool:
        """Take one look; tell whether the lid was opened just now.

        Args:
            now_unix: the time.
            step_seconds: since the last look.
            past: the grate's mean over the last minute, newest last, degrees Celsius.
            grate_fall: how far the middle probe of the grate fell within a minute, kelvin.
            top_fall: the same under the lid.
        """
        grate = float(past[-1])
        if self.open_unix is None and grate > self._low + REGAINED_SHARE * (self._before - self._low):
            self.regained = True
        if self.open_unix is None:
            if not (grate_fall > DROP_GRATE_KELVIN or top_fall > DROP_TOP_KELVIN):
                return False
            known = past[np.isfinite(past)]
            self._before = float(known.max()) if known.size else math.nan
            self.open_unix = now_unix - step_seconds
            if self.since_unix == 0.0:
                self.since_unix = self.open_unix
            self._low = grate
            self.regained = False
            self.openings += 1
            return True
        self._low = min(self._low, grate)
        if grate > self._low + SHUT_RISE_KELVIN:
            self.open_unix = None
            self.shut_unix = now_unix
            if self._before > self._low:
                self._losses.append(_Loss(now_unix, self._before - self._low))
        return False

    def missing_kelvin(self, now_unix: float) -> float:
        """Say how much of what the openings cost may not have come back yet."""
        if not self._losses:
            return 0.0
        missing = 0.0
        for loss in self._losses:
            waited = now_unix - loss.shut_unix
            missing += loss.kelvin * sum(share * math.exp(-waited / seconds) for share, seconds in BACK)
        if missing < GONE_KELVIN:
            self._losses.clear()
            self.since_unix = 0.0
        return missing

    def settled(self, now_unix: float) -> bool:
        """Tell whether the air has mixed since the lid was shut."""
        if self.open_unix is not None:
            return False
        return self.shut_unix is None or now_unix - self.shut_unix > SETTLING_SECONDS

    def lost_kelvin(self, level_celsius: float, past: Array, usual_celsius: float) -> float:
        """Say how far the level stands below where a lid opening found it, while it does not rise; else 0.

        After an opening the level climbs, or at least stops falling not far below. Where it does neither, the lid is
        still open, or did not close.

        Args:
            level_celsius: the level.
            past: the grate over the last `NOT_RISING_SECONDS`, newest last.
            usual_celsius: what the pit is meant to run at: what an opening found above it is no loss.
        """
        if self.since_unix == 0.0 or self.regained:
            return 0.0
        third = max(1, past.size // 3)
        rising = float(median(past[-third:]) - median(past[:third])) > NOT_RISING_KELVIN
        return 0.0 if rising else min(self._before, usual_celsius) - level_celsius
