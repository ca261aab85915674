"""What a curve shows so far, as the numbers that a forecast is read from.

All are smooth and bounded, so that no odd minute moves a forecast far: slopes are lines through minutes to hours,
spikes are taken out by medians, and the hours since the curve passed fixed temperatures say its shape, early and late.
"""

import math

import msgspec
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from collector.model.field import Array
from collector.model.meat.track import Track
from collector.model.robust import median

__all__ = [
    "MINUTE",
    "PAST_CELSIUS",
    "USUAL_AIR_CELSIUS",
    "WRAPS_CELSIUS",
    "Signs",
    "columns",
    "curve_by_minute",
    "signs_of",
]

MINUTE = 60.0
USUAL_AIR_CELSIUS = 115.0
"""Stands for the air where nothing is known of it."""
LEAST_MINUTES = 20
STALE_MINUTES = 30
"""A tip not heard for longer says nothing of now."""
NOW_MINUTES = 20
SLOPE_MINUTES = (30, 60, 120, 240)
PASSED_CELSIUS = (20.0, 30.0, 40.0, 50.0, 57.0, 62.0, 67.0, 72.0, 77.0, 83.0, 89.0)
STALL_FROM_CELSIUS = 55.0
PAST_CELSIUS = 78.0
"""Above this it is over, or there was none."""
SEEN_SHARE = 0.6
"""The stall has shown itself where the slowest hour is slower than this share of the fastest."""
LEAST_SLOPE, MOST_SLOPE = 0.4, 60.0
"""Kelvin per hour within which a slope is believed for extrapolating."""
LONGEST_HOURS = 30.0
WRAPS_CELSIUS = (62.0, 81.0)
"""Where the pieces that were learned from were to be wrapped."""
CURVE_COLUMNS = 18 + len(PASSED_CELSIUS)


def curve_by_minute(track: Track) -> tuple[Array, Array]:
    """Give tip and air at every minute from the first trusted one to the last row, shapes (m,), (m,).

    Spikes are taken out of the tip by medians of five; gaps are bridged by lines. Both are empty where no tip was
    ever trusted; the air is NaN throughout where none is known.
    """
    sound = np.flatnonzero(np.isfinite(track.celsius))
    if not sound.size:
        return np.zeros(0), np.zeros(0)
    kept = track.celsius[sound]
    if kept.size >= 5:
        kept[2:-2] = median(sliding_window_view(kept, 5))
    first, last = float(track.seconds[sound[0]]), float(track.seconds[-1])
    at = last - MINUTE * np.arange(int((last - first) // MINUTE), -1, -1)
    tip: Array = np.interp(at, track.seconds[sound], kept)
    heard = np.flatnonzero(np.isfinite(track.air_celsius))
    if not heard.size:
        return tip, np.full_like(tip, np.nan)
    return tip, np.interp(at, track.seconds[heard], track.air_celsius[heard])


class Signs(msgspec.Struct, frozen=True):
    """What is seen of one part at one minute."""

    now_seconds: float
    celsius: float
    """Smoothed, now."""
    slopes: tuple[float, ...]
    """Kelvin per hour over the last 30, 60, 120 and 240 minutes."""
    fastest: float
    """The steepest hour so far, kelvin per hour."""
    slowest: float
    """The flattest hour above 55 °C; the last hour's where it is not that warm yet."""
    slowest_celsius: float
    since: tuple[float, ...]
    """Hours since it passed 20, 30, ... 89 °C; zero where it has not."""
    on_hours: float
    air_celsius: float
    """Mean of the last three hours."""
    air_now_kelvin: float
    """The last half hour against that."""
    air_before_kelvin: float
    """All of the cook against that."""
    wrapped_hours: float
    """Since it was wrapped; NaN: it is not."""
    wrapped_celsius: float
    wrapped_slope: float
    """Of the hour before, kelvin per hour."""
    mass_kg: float
    air_known: bool

    @property
    def stall_seen(self) -> bool:
        """Whether the stall has shown itself, or nothing can bring it any more."""
        slowed = self.slowest < SEEN_SHARE * self.fastest
        return slowed or self.celsius > PAST_CELSIUS or not math.isnan(self.wrapped_hours)


def signs_of(track: Track) -> Signs | None:
    """Read a curve; None where it is shorter than 20 minutes or has not been heard for half an hour."""
    tip, air = curve_by_minute(track)
    if tip.size < LEAST_MINUTES:
        return None
    now = float(track.seconds[-1])
    sound = np.flatnonzero(np.isfinite(track.celsius))
    if now - float(track.seconds[sound[-1]]) > STALE_MINUTES * MINUTE:
        return None
    slopes = tuple(_line(tip[-minutes:])[1] for minutes in SLOPE_MINUTES)
    hour = min(60, tip.size - 1)
    hourly = (tip[hour:] - tip[:-hour]) * (60.0 / hour)
    warm = np.flatnonzero(tip[:-hour] >= STALL_FROM_CELSIUS)
    slowest, slowest_celsius = slopes[1], float(tip[-1])
    if warm.size:
        row = int(warm[np.argmin(hourly[warm])])
        slowest, slowest_celsius = float(hourly[row]), float(tip[row])
    passed = np.maximum.accumulate(tip)
    since = (tip.size - np.searchsorted(passed, PASSED_CELSIUS)) / 60.0
    known = bool(np.isfinite(air[-1]))
    if not known:
        air = np.full_like(tip, USUAL_AIR_CELSIUS)
    level = float(air[-180:].mean())
    wrapped = (now - track.wrapped_seconds) / 3600.0
    wrapped_celsius = wrapped_slope = math.nan
    if wrapped >= 0.0:
        row = min(max(tip.size - 1 - round(60.0 * wrapped), 0), tip.size - 1)
        wrapped_celsius = float(tip[row])
        wrapped_slope = _line(tip[max(0, row - 60) : row + 1])[1] if row >= LEAST_MINUTES else math.nan
    else:
        wrapped = math.nan
    return Signs(
        now, _line(tip[-NOW_MINUTES:])[0], slopes, float(hourly.max()), slowest, slowest_celsius,
        tuple(since.tolist()), max(now, 0.0) / 3600.0, level, float(air[-30:].mean()) - level,
        float(air.mean()) - level, wrapped, wrapped_celsius, wrapped_slope, track.mass_kg, known,
    )  # fmt: skip


def _line(values: Array) -> tuple[float, float]:
    """Fit a line through values a minute apart; give its end and its slope per hour."""
    n = values.size
    if n < 2:
        return float(values[-1]), 0.0
    off = np.arange(n) - 0.5 * (n - 1)
    slope = float(off @ values / (off @ off))
    return float(values.mean() + slope * 0.5 * (n - 1)), 60.0 * slope


def columns(signs: Signs, targets: Array, wrap_at: float, air_ahead: Array) -> Array:
    """Lay the signs out for targets, shape (m, columns): each number about -3 to 3.

    Args:
        signs: what is seen.
        targets: temperatures asked for, °C, above that of now, shape (m,).
        wrap_at: temperature at which it will be wrapped, °C; infinite, or hotter than any that was learned: it stays
            bare; NaN: nothing is known of it.
        air_ahead: of the air from now on, °C, shape (m,); NaN: as the last three hours.
    """
    tip = signs.celsius
    if wrap_at > WRAPS_CELSIUS[1]:
        wrap_at = math.inf  # so late a wrap was never learned, and gains next to nothing
    ahead = np.where(np.isnan(air_ahead), signs.air_celsius, air_ahead)
    air = np.maximum(ahead, np.maximum(targets + 3.0, tip + 4.0))
    slopes = np.clip(signs.slopes, LEAST_SLOPE, MOST_SLOPE)
    to_go = np.maximum(targets - tip, 0.1)
    straight = np.minimum(to_go[:, None] / slopes, LONGEST_HOURS)
    # a body that warms towards the air as fast as it does now
    newton = np.log((air - tip) / (air - tip - to_go))
    newton_hours = np.minimum(((air - tip) * newton)[:, None] / slopes[1:3], LONGEST_HOURS)
    bare = math.isnan(signs.wrapped_hours)
    comes = np.where(bare & (targets > wrap_at), 1.0, 0.0)
    gap = max(wrap_at - tip, 0.0) if math.isfinite(wrap_at) else 0.0
    of_target = np.column_stack([
        np.log(to_go + 0.5) - 2.5, (targets - 90.0) / 10.0, np.log(straight + 0.05), np.log(newton + 0.02) + 1.0,
        np.log(newton_hours + 0.05), (np.clip(air, 95.0, 160.0) - USUAL_AIR_CELSIUS) / 15.0,
        np.clip(ahead - signs.air_celsius, -25.0, 25.0) / 10.0, comes, comes * gap / 10.0,
        np.where(bare & (wrap_at >= targets), 1.0, 0.0),
    ])  # fmt: skip
    return np.concatenate([of_target, np.broadcast_to(_of_curve(signs), (targets.size, CURVE_COLUMNS))], axis=1)


def _of_curve(signs: Signs) -> Array:
    """Lay out what does not depend on the target, shape (CURVE_COLUMNS,)."""
    bare = math.isnan(signs.wrapped_hours)
    light = math.isnan(signs.mass_kg)
    wrapped_slope = 0.0 if math.isnan(signs.wrapped_slope) else signs.wrapped_slope
    return np.array([
        (signs.celsius - 65.0) / 15.0,
        *(min(max(slope, -10.0), 30.0) / 10.0 for slope in signs.slopes),
        math.log(min(max(signs.fastest, 2.0), 60.0)) - 2.7,
        min(max(signs.slowest, -4.0), 20.0) / 5.0, (signs.slowest_celsius - 68.0) / 12.0,
        *(math.sqrt(max(hours, 0.0)) - 1.0 for hours in signs.since),
        math.sqrt(min(signs.on_hours, LONGEST_HOURS)) - 2.5,
        min(max(signs.air_now_kelvin, -25.0), 25.0) / 10.0, min(max(signs.air_before_kelvin, -25.0), 25.0) / 10.0,
        0.0 if bare else 1.0, 0.0 if bare else math.sqrt(min(signs.wrapped_hours, 12.0)),
        0.0 if bare else (min(max(signs.wrapped_celsius, 30.0), 100.0) - 70.0) / 10.0,
        0.0 if bare else min(max(wrapped_slope, -2.0), 20.0) / 5.0,
        0.0 if light else math.log(min(max(signs.mass_kg, 0.5), 15.0) / 5.5), 0.0 if light else 1.0,
        1.0 if signs.air_known else 0.0,
    ])  # fmt: skip
