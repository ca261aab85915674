"""One part of a piece as the night goes on: its track, its stall, its clocks. Pure."""

import math
from collections.abc import Sequence

import numpy as np

from collector.model.meat.forecast import Arrival, Forecaster
from collector.model.meat.piece import Cut, Part, Species
from collector.model.meat.safety import (
    COME_UP_HIGH_CELSIUS,
    COME_UP_LOW_CELSIUS,
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
OVEN_CELSIUS = 60.0
"""Air below this heats no meat past the danger zone: 57 °C is its upper end."""


class PartWatch:
    """Follows one part.

    Args:
        part: as the cook describes it.
        species: whose meat it is.
        cut: of which cut.
    """

    def __init__(self, part: Part, species: Species, cut: Cut) -> None:
        self.part = part
        self.celsius = math.nan
        self.air_celsius = math.nan
        self.stall: Stall | None = None
        self.danger_seconds = 0.0
        self.danger_off_fire_seconds = 0.0
        """Of these, while it was on no fire: before it went on, as far as that is known, and since it came off."""
        self.come_up_seconds = 0.0
        """Within 50 to 130 °F on the fire, until it was through."""
        self.came_up = self._was_hot = False
        self.shown_from_unix = math.nan
        """Since when its probe has shown what can be meat, as far as that was before it was described; or NaN."""
        self._has_table = has_table(species, cut)
        self.log_reduction = 0.0 if self._has_table else math.nan
        self.species, self.cut = species, cut
        self._last_known = math.nan
        self._hottest = -math.inf
        """The most it has shown since it went on."""
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
            self._hottest = max(self._hottest, celsius) if on else -math.inf
        all_of_it = on or not math.isnan(self.shown_from_unix)
        self._keep(now, celsius, air_celsius, MOST_ROWS if all_of_it else WAITING_ROWS)
        if not on:
            return
        self._count_danger(unheated=off_fire or air_celsius < OVEN_CELSIUS)
        if self._has_table and not math.isnan(celsius) and not math.isnan(before):
            self.log_reduction += ROW_SECONDS * log_reduction_per_second(min(before, celsius))

    def _keep(self, unix: float, celsius: float, air_celsius: float, most: int) -> None:
        self._unix.append(unix)
        self._values.append(celsius)
        self._air.append(air_celsius)
        if len(self._unix) > most:
            del self._unix[:-most], self._values[:-most], self._air[:-most]

    def _count_danger(self, *, unheated: bool = False) -> None:
        """Count a minute; what is not known counts as it last was here, and not at all in the lethality.

        On the fire the come-up is counted until it is through. What has been hot and cooled again is not coming up, nor
        is what lies in a pit that is no oven: that is time without heat, wherever it lies.
        """
        self.came_up = self.came_up or self._last_known >= COME_UP_HIGH_CELSIUS
        self._was_hot = self._was_hot or self._last_known >= DANGER_HIGH_CELSIUS
        unheated = unheated or self._was_hot
        if DANGER_LOW_CELSIUS < self._last_known < DANGER_HIGH_CELSIUS:
            self.danger_seconds += ROW_SECONDS
            self.danger_off_fire_seconds += ROW_SECONDS if unheated else 0.0
        if not unheated and not self.came_up and COME_UP_LOW_CELSIUS < self._last_known < COME_UP_HIGH_CELSIUS:
            self.come_up_seconds += ROW_SECONDS

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
        values, unix = np.array(self._values[-WAITING_ROWS:]), self._unix[-WAITING_ROWS:]
        if not np.isfinite(values).any() or not math.isfinite(values[-1]):
            return None
        low = float(np.nanmin(values))
        if low > ON_BELOW_CELSIUS or values[-1] - low < RISE_KELVIN:
            return None
        return unix[int(np.flatnonzero(values <= low + 0.3)[-1])]

    def begin(self, on_unix: float) -> None:
        """Start every clock; what its rows show since it went on counts, and of danger what was taken over before."""
        rows, shown_from = list(zip(self._unix, self._values, self._air, strict=True)), self.shown_from_unix
        self.forget()
        for unix, celsius, air in rows:
            if unix > on_unix:
                self.row(unix, celsius, air, on=True)
            elif unix == on_unix:
                self._keep(unix, celsius, air, MOST_ROWS)
            elif unix >= shown_from:
                self._last_known = self._last_known if math.isnan(celsius) else celsius
                self._count_danger(unheated=True)

    def forget(self) -> None:
        """Forget everything: it was not on."""
        self.clear_clocks()
        self.shown_from_unix = math.nan
        self._unix, self._values, self._air = [], [], []

    def inherit(self, others: Sequence["PartWatch"]) -> None:
        """Take over the longest clocks of danger of the same piece: a probe that is new to it counts from no later."""
        self.danger_seconds = max((other.danger_seconds for other in others), default=0.0)
        self.danger_off_fire_seconds = max((other.danger_off_fire_seconds for other in others), default=0.0)
        self.come_up_seconds = max((other.come_up_seconds for other in others), default=0.0)

    def clear_clocks(self) -> None:
        """Start the clocks anew."""
        self.stall = None
        self.danger_seconds = self.danger_off_fire_seconds = self.come_up_seconds = 0.0
        self.came_up = self._was_hot = False
        self.log_reduction = 0.0 if self._has_table else math.nan
        self._last_known, self._jumped_kelvin, self._calm_rows = math.nan, 0.0, 0
        self._hottest = -math.inf

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
        """Give how far it has fallen from where it was within the last three quarters of an hour, or jumped.

        What was done is lifted off, and cools: that is no falling meat.
        """
        if self._jumped_kelvin:
            return self._jumped_kelvin
        if self._hottest >= self.part.done_celsius:
            return 0.0
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
