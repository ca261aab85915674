"""One part of a piece as the night goes on: its track, its stall, its clocks. Pure."""

import math

import numpy as np

from collector.model.meat.forecast import Arrival, Forecaster
from collector.model.meat.piece import Part, Species
from collector.model.meat.safety import (
    DANGER_HIGH_CELSIUS,
    DANGER_LOW_CELSIUS,
    has_table,
    log_reduction_per_second,
)  # fmt: skip
from collector.model.meat.stall import Stall, stall_of
from collector.model.meat.track import Track

__all__ = ["ROW_SECONDS", "PartWatch"]

ROW_SECONDS = 60.0
MOST_ROWS = 48 * 60
WAITING_ROWS = 45
"""Rows kept of a part that is not on yet: it goes on where its rise began."""
RISE_KELVIN = 2.0
ON_BELOW_CELSIUS = 60.0
FALL_ROWS = 45
HOLD_ROWS = 30


class PartWatch:
    """Follows one part.

    Args:
        part: as the cook describes it.
        species: whose table counts.
    """

    def __init__(self, part: Part, species: Species) -> None:
        self.part = part
        self.celsius = math.nan
        self.air_celsius = math.nan
        self.stall: Stall | None = None
        self.danger_seconds = 0.0
        self.log_reduction = 0.0 if has_table(species) else math.nan
        self._species = species
        self._last_known = math.nan
        self._unix: list[float] = []
        self._values: list[float] = []
        self._air: list[float] = []
        self._forecaster = Forecaster()

    def row(self, now: float, celsius: float, air_celsius: float, *, on: bool) -> None:
        """Take one row a minute; the clocks run once it is on."""
        before = self._last_known
        self.celsius, self.air_celsius = celsius, air_celsius
        if not math.isnan(celsius):
            self._last_known = celsius
        self._unix.append(now)
        self._values.append(celsius)
        self._air.append(air_celsius)
        keep = MOST_ROWS if on else WAITING_ROWS
        if len(self._unix) > keep:
            del self._unix[:-keep], self._values[:-keep], self._air[:-keep]
        if not on:
            return
        # what is not known counts as it last was in the clock of danger, and not at all in that of safety
        if DANGER_LOW_CELSIUS < self._last_known < DANGER_HIGH_CELSIUS:
            self.danger_seconds += ROW_SECONDS
        if has_table(self._species) and not math.isnan(celsius) and not math.isnan(before):
            self.log_reduction += ROW_SECONDS * log_reduction_per_second(min(before, celsius), self._species)

    def rose_at(self) -> float | None:
        """Say when the meat went on, by the rise of a part that was cold until then; None while nothing shows it."""
        values = np.array(self._values)
        if not np.isfinite(values).any() or not math.isfinite(values[-1]):
            return None
        low = float(np.nanmin(values))
        if low > ON_BELOW_CELSIUS or values[-1] - low < RISE_KELVIN:
            return None
        return self._unix[int(np.flatnonzero(values <= low + 0.3)[-1])]

    def begin(self, on_unix: float) -> None:
        """Forget what was before it went on."""
        first = next((k for k, unix in enumerate(self._unix) if unix >= on_unix), len(self._unix))
        del self._unix[:first], self._values[:first], self._air[:first]

    def track(self, on_unix: float, wrapped_unix: float, cut: str, mass_kg: float) -> Track:
        """Give what is known of it as the forecast takes it."""
        return Track(
            np.array(self._unix) - on_unix, np.array(self._values), np.array(self._air), wrapped_unix - on_unix, cut,
            mass_kg,
        )  # fmt: skip

    def find_stall(self, track: Track) -> None:
        """Look for the stall."""
        self.stall = stall_of(track)

    def arrivals(self, track: Track) -> tuple[Arrival, Arrival]:
        """Say when it is ready to be wrapped, and done."""
        wrap, done = self._forecaster.update(
            track, (self.part.wrap_celsius, self.part.done_celsius), wrap_at_celsius=self.part.wrap_celsius
        )
        return wrap, done

    def fallen_kelvin(self) -> float:
        """Give how far it has fallen from where it was within the last three quarters of an hour."""
        values = np.array(self._values[-FALL_ROWS:])
        if not len(values) or not math.isfinite(self.celsius):
            return math.nan
        return float(np.nanmax(values)) - self.celsius

    def slope_kelvin_per_hour(self) -> float:
        """Give the slope of the last half hour; NaN where there is too little."""
        values = np.array(self._values[-HOLD_ROWS:])
        hours = np.array(self._unix[-HOLD_ROWS:]) / 3600.0
        sound = np.isfinite(values)
        if sound.sum() < HOLD_ROWS // 2:
            return math.nan
        return float(np.polyfit(hours[sound] - hours[sound][0], values[sound], 1)[0])
