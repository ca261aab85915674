"""The stall: hours in which the tip hardly rises, because the surface loses by evaporation what the air brings."""

import math

import msgspec
import numpy as np
from numpy.typing import NDArray

from collector.model.field import Array
from collector.model.meat.hours_left import hours_left
from collector.model.meat.physics import SMOKE_HUMIDITY, wet_bulb_celsius
from collector.model.meat.signs import PAST_CELSIUS, columns, curve_by_minute, signs_of
from collector.model.meat.track import Track

__all__ = ["Stall", "stall_of", "wrap_gain_seconds"]

SLOPE_ROWS = 40
EARLIER_CELSIUS = (30.0, 58.0)
FROM_CELSIUS = 56.0
STALLED_SHARE, OVER_SHARE = 0.55, 0.75
"""Of the slope that is to be expected: below the one a stall begins, above the other it ends."""
LEAST_ROWS = 25
"""It has to last, and to be over, for so long to be told."""
WRAP_FROM_CELSIUS, WRAP_TO_CELSIUS = 50.0, 90.0
SECONDS = 3600.0


class Stall(msgspec.Struct, frozen=True):
    """A stall of one part; times are seconds since it went on."""

    onset_seconds: float
    celsius: float
    """Of the plateau."""
    depth: float
    """Share of the earlier slope that is lost, 0 to 1."""
    end_seconds: float
    """NaN while it lasts."""
    wet_bulb_celsius: float
    """What evaporation alone would hold a surface at in this air, if the gas about it is as moist as is common."""


def stall_of(track: Track) -> Stall | None:
    """Find the stall; None where none has shown itself yet."""
    tip, air = curve_by_minute(track)
    if tip.size < 2 * SLOPE_ROWS:
        return None
    rise = (tip[SLOPE_ROWS:] - tip[:-SLOPE_ROWS]) * (60.0 / SLOPE_ROWS)
    middle = tip[SLOPE_ROWS // 2 : -SLOPE_ROWS // 2]
    early = rise[(middle >= EARLIER_CELSIUS[0]) & (middle <= EARLIER_CELSIUS[1])]
    if early.size < LEAST_ROWS:
        return None
    usual = float(np.quantile(early, 0.75))
    expected = usual * _share_of_newton(air[SLOPE_ROWS // 2 : -SLOPE_ROWS // 2], middle)
    slow = (middle >= FROM_CELSIUS) & (middle <= PAST_CELSIUS) & (rise < STALLED_SHARE * expected)
    began = _lasting(slow)
    if began is None or usual <= 0.0:
        return None
    ended = _lasting((rise[began:] > OVER_SHARE * expected[began:]) | (middle[began:] > PAST_CELSIUS))
    last = rise.size if ended is None else began + ended
    first_second = float(track.seconds[-1]) - 60.0 * (tip.size - 1)
    at = first_second + 60.0 * (np.arange(rise.size) + SLOPE_ROWS // 2)
    around = float(np.nanmean(air[began : last + SLOPE_ROWS])) if np.isfinite(air[-1]) else math.nan
    return Stall(
        float(at[began]),
        float(np.median(middle[began:last])),
        float(np.clip(1.0 - np.median(rise[began:last]) / usual, 0.0, 1.0)),
        math.nan if ended is None else float(at[last]),
        math.nan if math.isnan(around) else wet_bulb_celsius(around, SMOKE_HUMIDITY),
    )


def _share_of_newton(air: Array, tip: Array) -> Array:
    """Give how fast a body should rise that follows the air by Newton's law, against what it did in the early hours.

    Without air it should go on as it did.
    """
    if not np.isfinite(air).all():
        return np.ones_like(tip)
    early = 0.5 * sum(EARLIER_CELSIUS)
    return np.asarray(np.clip((air - tip) / np.maximum(air - early, 10.0), 0.0, 1.0))


def _lasting(true: NDArray[np.bool_]) -> int | None:
    """Give the first row from which on something is true for `LEAST_ROWS` rows."""
    run = np.convolve(true.astype(np.float64), np.ones(LEAST_ROWS), mode="valid")
    found = np.flatnonzero(run >= LEAST_ROWS - 0.5)
    return int(found[0]) if found.size else None


def wrap_gain_seconds(track: Track, target: float) -> float:
    """Say how much earlier a target would come if it were wrapped now; NaN: it cannot be told.

    The medians of two forecasts, of one that is wrapped now and of one that stays bare.
    """
    signs = signs_of(track)
    if signs is None or not math.isnan(signs.wrapped_hours) or not target > signs.celsius:
        return math.nan
    if not WRAP_FROM_CELSIUS <= signs.celsius <= WRAP_TO_CELSIUS:
        return math.nan
    asked, ahead = np.array([target]), np.array([math.nan])
    bare, wrapped = (
        hours_left(columns(signs, asked, at, ahead), stall_seen=signs.stall_seen)[0, 1]
        for at in (math.inf, signs.celsius)
    )
    return float(SECONDS * max(bare - wrapped, 0.0))
