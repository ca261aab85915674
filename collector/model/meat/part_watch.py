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
JUMP_KELVIN = 6.0
"""From one known minute to the next: no inside of meat warms so fast in a smoker (common practice, no source)."""
CALM_KELVIN, CALM_ROWS = 1.5, 10
HOTTEST_MEAT_CELSIUS = 101.0


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
        self.danger_off_fire_seconds = 0.0
        """Of these, since it came off the fire."""
        self.log_reduction = 0.0 if has_table(species) else math.nan
        self.species = species
        self._last_known = math.nan
        self._jumped_kelvin = 0.0
        """How far it jumped as no meat can, until it is back or stands still where it is."""
        self._calm_rows = 0
        self._unix: list[float] = []
        self._values: list[float] = []
        self._air: list[float] = []
        self._forecaster = Forecaster()

    def row(self, now: float, celsius: float, air_celsius: float, *, on: bool, off_fire: bool = False) -> None:
        """Take one row a minute; the clocks run while it is on."""
        before = self._last_known
        celsius = self._in_meat(celsius) if on else celsius
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
            self.danger_off_fire_seconds += ROW_SECONDS if off_fire else 0.0
        if has_table(self.species) and not math.isnan(celsius) and not math.isnan(before):
            self.log_reduction += ROW_SECONDS * log_reduction_per_second(min(before, celsius), self.species)

    def _in_meat(self, celsius: float) -> float:
        """Give what the tip shows, or NaN where it jumped up as the inside of meat cannot: it was pulled out.

        It is believed again when it is back, or has stood still at what meat can have: then it was put elsewhere.
        """
        if math.isnan(celsius) or math.isnan(self._last_known):
            return celsius
        jump = celsius - self._last_known
        if jump <= JUMP_KELVIN:
            self._jumped_kelvin = 0.0
            return celsius
        self._calm_rows = self._calm_rows + 1 if abs(jump - self._jumped_kelvin) < CALM_KELVIN else 0
        self._jumped_kelvin = jump
        if self._calm_rows < CALM_ROWS or celsius >= HOTTEST_MEAT_CELSIUS:
            return math.nan
        self._jumped_kelvin, self._calm_rows = 0.0, 0
        return celsius

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
        """Forget what was before it went on, and start every clock."""
        self.clear_clocks()
        first = next((k for k, unix in enumerate(self._unix) if unix >= on_unix), len(self._unix))
        del self._unix[:first], self._values[:first], self._air[:first]

    def forget(self) -> None:
        """Forget everything: it was not on."""
        self.clear_clocks()
        self._unix, self._values, self._air = [], [], []

    def clear_clocks(self) -> None:
        """Start the clocks anew."""
        self.stall = None
        self.danger_seconds = self.danger_off_fire_seconds = 0.0
        self.log_reduction = 0.0 if has_table(self.species) else math.nan
        self._last_known, self._jumped_kelvin, self._calm_rows = math.nan, 0.0, 0

    def track(self, on_unix: float, wrapped_unix: float, cut: str, mass_kg: float) -> Track:
        """Give what is known of it as the forecast takes it."""
        return Track(
            np.array(self._unix) - on_unix, np.array(self._values), np.array(self._air), wrapped_unix - on_unix, cut,
            mass_kg,
        )  # fmt: skip

    def find_stall(self, track: Track) -> None:
        """Look for the stall; while its probe tells nothing, no news is no stall."""
        if math.isnan(self.celsius):
            return
        self.stall = stall_of(track)

    def arrivals(self, track: Track) -> tuple[Arrival, Arrival]:
        """Say when it is ready to be wrapped, and done."""
        wrap, done = self._forecaster.update(
            track, (self.part.wrap_celsius, self.part.done_celsius), wrap_at_celsius=self.part.wrap_celsius
        )
        return wrap, done

    def fallen_kelvin(self) -> float:
        """Give how far it has fallen from where it was within the last three quarters of an hour, or jumped."""
        if self._jumped_kelvin:
            return self._jumped_kelvin
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
