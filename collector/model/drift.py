"""How far the grate is off its band, up and down: now, and in half an hour by the robust slope of its last 90 minutes.

The level is the one that every screen shows. Its mean over a quarter of an hour takes the flicker out of it; the slope
over 90 minutes takes out the saw-tooth of the refuels, since it spans two of them, and counts where the last half of it
is as steep. Door openings are left out.
"""

import math

import numpy as np

from collector.model.record import Ring
from collector.model.robust import median
from collector.model.slope import bin_medians, slope_of_bins

__all__ = ["HALF_CYCLE_SECONDS", "DriftWatch"]

LEVEL_SECONDS = 900.0
"""The level is a mean over this time."""
LEVEL_KNOWN_SHARE = 0.3
"""So much of it must be known: the rest may be a door opening."""
SLOPE_SECONDS, BIN_SECONDS = 5400.0, 30.0
SLOPE_KNOWN_SHARE = 0.7
"""So much must be known for a forecast."""
STEEP_KELVIN_PER_HOUR = 14.0
"""A fire that is tended moves more slowly over 90 minutes (25 °F an hour; tuned on nights of another simulator)."""
AHEAD_SECONDS = 1800.0
"""The forecast looks so far ahead."""
HALF_CYCLE_SECONDS = 1350.0
"""Half of the time between refuels, 30 to 60 minutes (common practice, no source), until the rhythm is known."""
FLOOR_SECONDS = 600.0
"""The median of so long is held against the floor."""


class DriftWatch:
    """Follows the level of one grate against its band.

    Args:
        low_celsius: lower edge of the band.
        high_celsius: upper edge.
        step_seconds: time between two looks.
    """

    def __init__(self, low_celsius: float, high_celsius: float, step_seconds: float) -> None:
        self._low, self._high, self._step = low_celsius, high_celsius, step_seconds
        self._shown = Ring(1, self._steps(SLOPE_SECONDS))
        """What is shown, without door openings and the warm-up (NaN)."""
        self._seconds = 0.0
        """Since the level was first shown: the slope of a fire that settles is no drift."""
        self._heard = Ring(1, self._steps(FLOOR_SECONDS))
        """The median of all that the grate's probes say, whatever is thought of them."""
        self.slope_kelvin_per_hour = math.nan
        self.slope_low = math.nan
        self.slope_high = math.nan
        """Slope of the last 90 minutes and its interval of 95 %, kelvin an hour."""
        self._line_celsius = math.nan
        """Where the line of that slope stands now."""
        self._half_kelvin_per_hour = math.nan
        """Slope of the last 45 minutes: what an evening's first fire overshot by is no drift of the night."""

    def _steps(self, seconds: float) -> int:
        return max(1, round(seconds / self._step))

    def look(self, shown_celsius: float, heard_celsius: float) -> None:
        """Take one look.

        Args:
            shown_celsius: mean of the grate as it is shown; NaN in the warm-up and while the door is open.
            heard_celsius: median of the grate's probes, believed or not; NaN where none is heard.
        """
        self._shown.push(np.array([shown_celsius]))
        self._seconds += self._step if self._seconds or shown_celsius == shown_celsius else 0.0
        self._heard.push(np.array([heard_celsius]))

    def forget(self) -> None:
        """Drop the past: the probes are calibrated differently from now on."""
        self._shown, self._seconds = Ring(1, self._shown.columns), 0.0
        self.slope_kelvin_per_hour = self.slope_low = self.slope_high = self._line_celsius = math.nan

    def find_slope(self, half_cycle_seconds: float = HALF_CYCLE_SECONDS) -> None:
        """Work out the slope and its interval; it moves slowly, so every half minute will do.

        The saw-tooth, not the noise, is what blurs the slope: its residual is as good as independent only once a half
        cycle, so the interval is that of a line through that many points.
        """
        bins = bin_medians(self._shown.last(self._steps(SLOPE_SECONDS))[0], self._steps(BIN_SECONDS))
        known_seconds = int(np.count_nonzero(np.isfinite(bins))) * BIN_SECONDS
        slope = float(slope_of_bins(bins, BIN_SECONDS)) if known_seconds >= LEVEL_SECONDS else math.nan
        self._line_celsius = math.nan
        if slope != slope:
            return
        residual = bins - slope * (np.arange(bins.size) - bins.size + 1) * BIN_SECONDS
        middle = float(median(residual))
        scale = 1.4826 * float(median(np.abs(residual - middle)))
        independent = max(3.0, known_seconds / half_cycle_seconds)
        error = scale * math.sqrt(12.0 / independent) / known_seconds
        self.slope_kelvin_per_hour = slope * 3600.0
        self.slope_low = (slope - 1.96 * error) * 3600.0
        self.slope_high = (slope + 1.96 * error) * 3600.0
        if self._seconds >= SLOPE_SECONDS and known_seconds >= SLOPE_KNOWN_SHARE * SLOPE_SECONDS:
            self._line_celsius = middle
            self._half_kelvin_per_hour = 3600.0 * float(slope_of_bins(bins[-bins.size // 2 :], BIN_SECONDS))

    @property
    def level_celsius(self) -> float:
        """Mean of the last quarter of an hour; NaN where too little of it is known."""
        recent = self._shown.last(self._steps(LEVEL_SECONDS))[0]
        known = recent[np.isfinite(recent)]
        return float(known.mean()) if known.size >= LEVEL_KNOWN_SHARE * self._steps(LEVEL_SECONDS) else math.nan

    def outside_kelvin(self) -> tuple[float, float]:
        """Say how far the level is below its band, and above it, now or in half an hour, whichever is more.

        Returns:
            Kelvin below and kelvin above, negative inside; NaN where it is not known.
        """
        level, slopes = self.level_celsius, (self.slope_kelvin_per_hour, self._half_kelvin_per_hour)
        below, above = self._low - level, level - self._high
        hours = AHEAD_SECONDS / 3600.0
        if max(slopes) <= -STEEP_KELVIN_PER_HOUR:
            below = float(np.fmax(below, self._low - self._line_celsius - max(slopes) * hours))
        elif min(slopes) >= STEEP_KELVIN_PER_HOUR:
            above = float(np.fmax(above, self._line_celsius + min(slopes) * hours - self._high))
        return below, above

    def below_floor_kelvin(self) -> float:
        """Say how far the median of ten minutes of all that is heard lies below the band; NaN where nothing is."""
        return self._low - float(median(self._heard.last(self._steps(FLOOR_SECONDS))[0]))
