"""The fire as the chamber shows it: lid openings, refuels, and a level that leaves its saw-tooth.

Fed with the median of the grate and of the air under the lid at each look. A lid opening is a fall no fire can make;
a refuel is a turn from falling to rising that lasts; a drift is a level outside the envelope of its own saw-tooth.
"""

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from collector.model.field import Array
from collector.model.record import Ring
from collector.model.robust import median, quantiles
from collector.model.slope import bin_medians, slope_of_bins
from collector.snapshot import Mark, Phase

__all__ = ["FireWatch", "Steady"]

LID_WINDOW_SECONDS = 60.0
LID_DROP_GRATE_KELVIN = 5.0
LID_DROP_TOP_KELVIN = 12.0
LOST_KELVIN = 15.0
NOT_RISING_SECONDS = 300.0
NOT_RISING_KELVIN = 1.0
GONE_OUT_CELSIUS = 45.0
GONE_OUT_SECONDS = 3600.0
SHUT_RISE_KELVIN = 1.0
SHUT_SECONDS = 420.0
"""Probes lag and the air mixes: for so long after the lid is shut, no zone is judged."""
RECOVERY_SECONDS = 2700.0
RECOVERED_WITHIN_KELVIN = 3.0
FALLS_AGAIN_KELVIN = 5.0
FALLS_AGAIN_SWINGS = 0.7
REFUEL_RISE_KELVIN = 2.0
REFUEL_QUIET_SECONDS = 900.0
REACHED_AFTER_SECONDS = 300.0
STEADY_AFTER_SECONDS = 2100.0
ENVELOPE_SECONDS = 4 * 3600.0
ENVELOPE_LAG_SECONDS = 600.0
ENVELOPE_NEEDS_SECONDS = 2700.0
SLOPE_SECONDS = 5400.0
HOT_CELSIUS = 60.0
REFUEL_CYCLE_SECONDS = 2700.0
"""A split every 30 to 60 minutes (common practice, no source): assumed until the rhythm is known."""


@dataclass(frozen=True, slots=True)
class Steady:
    """The usual saw-tooth of the level: its middle, its trough and its crest, degrees Celsius."""

    middle: float
    trough: float
    crest: float


class FireWatch:
    """Follows phase, lid, refuels and level of one pit.

    Args:
        low_celsius: lower edge of the band; the warm-up ends when the grate reaches it, or settles below it.
        high_celsius: upper edge.
        step_seconds: time between two looks.
    """

    def __init__(self, low_celsius: float, high_celsius: float, step_seconds: float) -> None:
        self._low, self._high, self._step = low_celsius, high_celsius, step_seconds
        self._grate = Ring(1, int(5 * 3600 / step_seconds))
        self._calm = Ring(1, int(5 * 3600 / step_seconds))
        """The grate with lid openings and the warm-up left out (NaN)."""
        self.phase = Phase.UNKNOWN
        self.reached_unix: float | None = None
        """When the grate had reached the band: from here on a fire that fades is told."""
        self.steady_since_unix: float | None = None
        """When the chamber had evened out too: from here on zones are judged."""
        self.lid_open_unix: float | None = None
        self.lid_shut_unix: float | None = None
        self.lid_since_unix = 0.0
        """When the opening began from which the level has not come back yet."""
        self._cold_since: float | None = None
        self.gone_out = False
        """The chamber has been cold for long: this cook's fire is over."""
        self.lid_openings = 0
        self.refuels: deque[float] = deque(maxlen=64)
        self.refuel_count = 0
        self.level_celsius = float("nan")
        self.slope_kelvin_per_hour = float("nan")
        self.slope_low = float("nan")
        self.slope_high = float("nan")
        self.steady: Steady | None = None
        self._before_lid = float("nan")
        self._lid_low = float("nan")
        self._regained = float("nan")
        self.after_lid = False
        """The level still bears the mark of a lid opening: it says nothing about the fire."""
        self._low_since_refuel = (float("inf"), 0.0)
        self._warm_since: float | None = None

    def _steps(self, seconds: float) -> int:
        return max(1, round(seconds / self._step))

    def look(self, now_unix: float, grate_celsius: float, grate_fall: float, top_fall: float) -> list[Mark]:
        """Take one look.

        Args:
            now_unix: the time.
            grate_celsius: mean of the grate; NaN where unknown.
            grate_fall: how far the middle probe of the grate fell within a minute, kelvin.
            top_fall: the same under the lid.

        Returns:
            What was seen: lid openings and refuels.
        """
        self._grate.push(np.array([grate_celsius]))
        self.level_celsius = _median(self._grate.last(self._steps(60.0))[0])
        marks = self._look_at_lid(now_unix, grate_celsius, grate_fall, top_fall)
        self._look_at_phase(now_unix)
        calm = self.phase is Phase.STEADY and not self.after_lid
        self._calm.push(np.array([grate_celsius if calm else np.nan]))
        if calm:
            marks += self._look_for_refuel(now_unix)
        return marks

    def _look_at_lid(self, now_unix: float, grate: float, grate_fall: float, top_fall: float) -> list[Mark]:
        """Open on a fall no fire can make; shut on the first lasting rise; recovered when the level is back."""
        window = self._steps(LID_WINDOW_SECONDS)
        if self.lid_open_unix is None:
            grate_past = self._grate.last(window)[0]
            fell = grate_fall > LID_DROP_GRATE_KELVIN or top_fall > LID_DROP_TOP_KELVIN
            if not fell or self.phase is Phase.COLD:
                return []
            if self.lid_shut_unix is None:
                self._before_lid = _greatest(grate_past)
                self.lid_since_unix = now_unix - self._step
            self.lid_open_unix = now_unix - self._step
            self.lid_shut_unix = None
            self._lid_low = grate
            self.lid_openings += 1
            return [Mark(self.lid_open_unix, "seen-lid", "the lid was opened")]
        self._lid_low = min(self._lid_low, grate)
        if grate > self._lid_low + SHUT_RISE_KELVIN:
            self.lid_open_unix = None
            self.lid_shut_unix = now_unix
            self._regained = grate
        return []

    def _after_lid(self, now_unix: float) -> bool:
        """Tell whether the level still bears the mark of a lid opening.

        A chamber that lost its heat comes back only as fast as the fire allows, often not before the next split. It
        is over when the level is back, when it falls again from what it had regained (then the lid is not to blame),
        or after a whole refuel cycle.
        """
        if self.lid_open_unix is not None:
            return True
        if self.lid_shut_unix is None:
            return False
        level = self.level_celsius
        self._regained = max(self._regained, level)
        usual = self.steady.trough + 2.0 if self.steady is not None else math.inf
        back = level > min(self._before_lid - RECOVERED_WITHIN_KELVIN, usual)
        waited = now_unix - self.lid_shut_unix
        over = (back and waited > SHUT_SECONDS) or level < self._regained - self._falls_again()
        if over or waited > RECOVERY_SECONDS:
            self.lid_shut_unix = None
            self.lid_since_unix = 0.0
            return False
        return True

    def _falls_again(self) -> float:
        """Give the fall that is more than the saw-tooth's own, kelvin."""
        swing = self.steady.crest - self.steady.trough if self.steady is not None else 0.0
        return max(FALLS_AGAIN_KELVIN, FALLS_AGAIN_SWINGS * swing)

    def _look_at_phase(self, now_unix: float) -> None:
        level = self.level_celsius
        self.after_lid = self._after_lid(now_unix)
        self._look_for_the_end(now_unix, level)
        if math.isnan(level):
            self.phase = Phase.UNKNOWN
            return
        if self.steady_since_unix is None:
            self._look_at_warm_up(now_unix, level)
            if self.reached_unix is None or now_unix - self.reached_unix < STEADY_AFTER_SECONDS:
                return
            self.steady_since_unix = now_unix
        shut = self.lid_open_unix is None and (
            self.lid_shut_unix is None or now_unix - self.lid_shut_unix > SHUT_SECONDS
        )
        self.phase = Phase.STEADY if shut else Phase.LID_OPEN

    def _look_for_the_end(self, now_unix: float, level: float) -> None:
        """See that the fire, once lit, has been out for an hour."""
        cold = self.reached_unix is not None and level < GONE_OUT_CELSIUS
        self._cold_since = (self._cold_since or now_unix) if cold else None
        self.gone_out = self._cold_since is not None and now_unix - self._cold_since >= GONE_OUT_SECONDS

    def _look_at_warm_up(self, now_unix: float, level: float) -> None:
        """Follow the warm-up: it is over for the fire when the band is reached, for the zones some time later."""
        hot = level > HOT_CELSIUS or self.reached_unix is not None
        self.phase = Phase.WARMING if hot else Phase.COLD
        if self.reached_unix is None:
            there = hot and (level >= self._low or self._settled())
            self._warm_since = (self._warm_since or now_unix) if there else None
            if self._warm_since is not None and now_unix - self._warm_since >= REACHED_AFTER_SECONDS:
                self.reached_unix = now_unix

    def _settled(self) -> bool:
        """Tell whether the last 40 minutes rose by less than 3 K: as hot as this fire will make it."""
        past = self._grate.last(self._steps(2400.0))[0]
        return past.size >= self._steps(2400.0) and float(_median(past[-12:]) - _median(past[:12])) < 3.0

    def _look_for_refuel(self, now_unix: float) -> list[Mark]:
        """See a refuel where the minute's median has risen clear of its lowest since the last one."""
        level = self.level_celsius
        if math.isnan(level):
            return []
        lowest, when = self._low_since_refuel
        if level < lowest:
            self._low_since_refuel = (level, now_unix)
            return []
        last = self.refuels[-1] if self.refuels else float("-inf")
        if level < lowest + REFUEL_RISE_KELVIN:
            return []
        self._low_since_refuel = (level, now_unix)
        past = self._calm.last(self._steps(600.0))[0]
        fell_before = _greatest(past) - lowest > 1.0 if past.size else False
        if when - last < REFUEL_QUIET_SECONDS or not fell_before:
            return []
        self.refuels.append(when)
        self.refuel_count += 1
        return [Mark(when, "seen-refuel", "the fire picked up")]

    @property
    def refuel_period_seconds(self) -> float:
        """Median time between refuels seen; NaN until two intervals are known."""
        if len(self.refuels) < 3:
            return float("nan")
        return float(median(np.diff(np.array(self.refuels))))

    def look_at_slope(self) -> None:
        """Work out slope and envelope from the calm record; called every half minute, they move slowly."""
        per_bin = self._steps(30.0)
        bins = bin_medians(self._calm.last(self._steps(SLOPE_SECONDS))[0], per_bin)
        known = bins[np.isfinite(bins)]
        if known.size * 30.0 >= 900.0:
            self._set_slope(bins, known)
        past = self._calm.last(self._steps(ENVELOPE_SECONDS + ENVELOPE_LAG_SECONDS))[0]
        past = past[: max(0, past.size - self._steps(ENVELOPE_LAG_SECONDS))]
        past = past[np.isfinite(past)]
        if past.size * self._step >= ENVELOPE_NEEDS_SECONDS:
            trough, middle, crest = quantiles(past, (0.04, 0.50, 0.96))
            self.steady = Steady(middle, trough, crest)

    def _set_slope(self, bins: Array, known: Array) -> None:
        """Set the slope and its interval.

        The saw-tooth, not the noise, is what blurs the slope: its residual is as good as independent only once a half
        cycle, so the interval is that of a line through so many points.
        """
        slope = float(slope_of_bins(bins, 30.0))
        if slope != slope:
            return
        seconds = (np.arange(bins.size) - bins.size + 1) * 30.0
        residual = bins - slope * seconds
        residual = residual[np.isfinite(residual)]
        scale = 1.4826 * float(median(np.abs(residual - median(residual))))
        period = self.refuel_period_seconds
        half_cycle = 0.5 * (period if period == period else REFUEL_CYCLE_SECONDS)
        independent = max(3.0, known.size * 30.0 / half_cycle)
        error = scale * math.sqrt(12.0 / independent) / (known.size * 30.0)
        self.slope_kelvin_per_hour = slope * 3600.0
        self.slope_low = (slope - 1.96 * error) * 3600.0
        self.slope_high = (slope + 1.96 * error) * 3600.0

    def outside_kelvin(self) -> tuple[float, str]:
        """Say how far the level stands outside its own saw-tooth or the band, and on which side.

        Returns:
            Kelvin outside (negative inside; NaN when it cannot be told), and `fading` or `running hot`.
        """
        if self.reached_unix is None or self.after_lid or self.phase is Phase.LID_OPEN:
            return float("nan"), "fading"
        if self.phase is not Phase.STEADY:
            return self._low - _median(self._grate.last(self._steps(900.0))[0]), "fading"
        now = _median(self._calm.last(self._steps(240.0))[0])
        long = self._calm.last(self._steps(1800.0))[0]
        below, above = float("nan"), float("nan")
        if self.steady is not None:
            below, above = self.steady.trough - now, now - self.steady.crest
        if long.size * self._step >= 1500.0:
            level = _median(long)
            below = np.fmax(below, self._low - level)
            above = np.fmax(above, level - self._high)
        if not (below == below or above == above):
            return float("nan"), "fading"
        return (float(below), "fading") if below >= above else (float(above), "running hot")

    def lost_since_lid_kelvin(self) -> float:
        """Say how far the level stands below where a lid opening found it, while it does not rise; else 0.

        After an opening the level climbs, or at least stops falling not far below. Where it does neither, the lid is
        still open, or did not close.
        """
        if not self.after_lid or self.lid_since_unix == 0.0:
            return 0.0
        past = self._grate.last(self._steps(NOT_RISING_SECONDS))[0]
        third = max(1, past.size // 3)
        rising = _median(past[-third:]) - _median(past[:third]) > NOT_RISING_KELVIN
        found = min(self._before_lid, 0.5 * (self._low + self._high))
        return 0.0 if rising else found - self.level_celsius

    def minutes_to_limit(self) -> float:
        """Minutes until the level leaves the band at the present slope; NaN when it does not within 12 h."""
        slope, level = self.slope_kelvin_per_hour, self.level_celsius
        if not (slope == slope and level == level) or slope == 0.0:
            return float("nan")
        if self.slope_low <= 0.0 <= self.slope_high or not self._low < level < self._high:
            return float("nan")
        minutes = 60.0 * ((self._high if slope > 0 else self._low) - level) / slope
        return minutes if minutes <= 720.0 else float("nan")


def _median(values: Array) -> float:
    return float(median(values))


def _greatest(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(known.max()) if known.size else float("nan")
