"""When a part arrives: the hours to go as learned, and what no learning needs to be asked about.

Arrivals are seconds since the meat went on.
"""

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from collector.model.field import Array
from collector.model.meat.hours_left import hours_left
from collector.model.meat.signs import MINUTE, Signs, columns, curve_by_minute, signs_of
from collector.model.meat.track import Track

__all__ = ["Arrival", "Forecaster", "air_needed", "curve", "of_piece"]

HOUR = 3600.0
ABOVE_KELVIN = 0.5
"""The air has to be shown this much hotter than the target, or the meat will not get there."""
EARLY_CELSIUS = 25.0
"""Below this the curve says nothing of what is to come."""
BEYOND_STALL_CELSIUS = 72.0
UNSEEN_SHARE = 0.3
"""Before the stall has shown itself no interval to a target beyond it is narrower, to either side, than this share."""
ALIKE = 0.6
"""Correlation of the parts of a piece about their medians: they share fire, air and wrap (weighed, no source)."""
Z_TEN = 1.2816
"""The normal deviate exceeded with 10 %."""
LEAST_AIR_CELSIUS, MOST_AIR_CELSIUS = 90, 180
REACH_KELVIN = 25.0
NEEDED_KELVIN = 6.0
"""Air no hotter than this over the target is not advised: the last kelvins would take all night."""
TOP_CELSIUS = 99.0


class Arrival(msgspec.Struct, frozen=True):
    """When a temperature is reached: exceeded with 90, 50 and 10 %."""

    target_celsius: float
    low_seconds: float
    median_seconds: float
    """Infinite: not at this air; NaN: it cannot be known yet."""
    high_seconds: float
    why: str = ""
    """In plain words, where it cannot be known or will not come."""


class Forecaster:
    """Forecasts of one part. It keeps nothing: the same track gives the same answers."""

    def update(
        self,
        track: Track,
        targets: Sequence[float],
        wrap_at_celsius: float = math.nan,
        air_ahead_celsius: float = math.nan,
    ) -> tuple[Arrival, ...]:
        """Say when each target is reached.

        Args:
            track: so far.
            targets: °C; NaN gives an arrival of NaN.
            wrap_at_celsius: where it will be wrapped; infinite: it stays bare; NaN: not said.
            air_ahead_celsius: of the air from now on; NaN: as its last three hours.
        """
        signs = signs_of(track)
        asked = np.array(targets, dtype=np.float64)
        ahead = _ahead_of(signs, air_ahead_celsius)
        ahead_of = np.full(asked.shape, ahead)
        seconds = None if signs is None else _seconds(signs, asked, wrap_at_celsius, ahead_of)
        found = []
        for k, target in enumerate(asked.tolist()):
            there = _reached(track, target)
            why = _why_not(signs, target, ahead)
            if not math.isnan(there):
                found.append(Arrival(target, there, there, there))
            elif why:
                never = math.inf if signs is not None and target > ahead - ABOVE_KELVIN else math.nan
                found.append(Arrival(target, never, never, never, why))
            else:
                assert seconds is not None, "without signs there is a reason why not"
                low, median, high = seconds[k].tolist()
                found.append(Arrival(target, low, median, high))
        return tuple(found)


def _ahead_of(signs: Signs | None, air_ahead_celsius: float) -> float:
    if not math.isnan(air_ahead_celsius) or signs is None or not signs.air_known:
        return air_ahead_celsius
    return signs.air_celsius


def _reached(track: Track, target: float) -> float:
    """Give when a target was reached first; NaN: not yet, or it was not asked for."""
    tip, _ = curve_by_minute(track)
    over = np.flatnonzero(tip >= target)
    return float(track.seconds[-1]) - MINUTE * (tip.size - 1 - int(over[0])) if over.size else math.nan


def _why_not(signs: Signs | None, target: float, ahead: float) -> str:
    """Say why a target's time cannot be told; empty where it can be."""
    if math.isnan(target):
        return "no temperature was given for it"
    if signs is None:
        return "its probe has not been heard for long enough"
    if target > ahead - ABOVE_KELVIN:
        return "the air around it is too cold for that: raise the fire"
    if signs.celsius < EARLY_CELSIUS:
        return "it is still too cold inside to tell"
    return ""


def _seconds(signs: Signs, targets: Array, wrap_at: float, ahead: Array) -> Array:
    """Give low, median and high of each target, shape (m, 3); later targets never come before earlier ones."""
    asked = np.where(np.isnan(targets), TOP_CELSIUS, targets)
    hours = hours_left(columns(signs, asked, wrap_at, ahead), stall_seen=signs.stall_seen)
    if not signs.stall_seen:
        late = (asked > BEYOND_STALL_CELSIUS)[:, None]
        middle = hours[:, 1:2]
        hours = np.where(
            late, np.column_stack([
                np.minimum(hours[:, 0:1], middle * (1.0 - UNSEEN_SHARE)), middle,
                np.maximum(hours[:, 2:3], middle * (1.0 + UNSEEN_SHARE)),
            ]), hours,
        )  # fmt: skip
    order = np.argsort(asked, kind="stable")
    hours[order] = np.maximum.accumulate(hours[order], axis=0)
    return np.asarray(signs.now_seconds + HOUR * hours)


def curve(
    track: Track, at_seconds: Array, wrap_at_celsius: float = math.nan, air_ahead_celsius: float = math.nan
) -> Array:
    """Give the temperature ahead, °C: median, and exceeded with 90 and 10 %, shape (n, 3); NaN where it is unknown.

    Args:
        track: so far.
        at_seconds: times ahead, shape (n,).
        wrap_at_celsius: where it will be wrapped; as in `Forecaster.update`.
        air_ahead_celsius: of the air from now on.
    """
    signs = signs_of(track)
    unknown = np.full((at_seconds.size, 3), np.nan)
    if signs is None or signs.celsius < EARLY_CELSIUS:
        return unknown
    ahead = _ahead_of(signs, air_ahead_celsius)
    top = TOP_CELSIUS if math.isnan(ahead) else min(TOP_CELSIUS, ahead - ABOVE_KELVIN)
    if top <= signs.celsius + 1.0:
        return unknown
    asked = np.append(np.arange(signs.celsius + 1.0, top), top)
    seconds = _seconds(signs, asked, wrap_at_celsius, np.full(asked.shape, ahead))
    times = np.vstack([np.full(3, signs.now_seconds), seconds])
    celsius = np.concatenate([[signs.celsius], asked])
    low, middle, high = (np.interp(at_seconds, times[:, k], celsius) for k in (2, 1, 0))
    known = (at_seconds >= signs.now_seconds) & (at_seconds <= times[-1, 1])
    return np.where(known[:, None], np.column_stack([middle, low, high]), np.nan)


def air_needed(track: Track, target_celsius: float, by_seconds: float, wrap_at_celsius: float = math.nan) -> float:
    """Give the coolest air, °C, at which the median arrival is in time; NaN: none within 90 to 180 °C, or unknown.

    Air is looked for within 25 K of that of the last hours: no further was anything learned.
    """
    signs = signs_of(track)
    if signs is None or math.isnan(target_celsius) or signs.celsius < EARLY_CELSIUS:
        return math.nan
    if target_celsius <= signs.celsius:
        return math.nan
    airs = np.arange(LEAST_AIR_CELSIUS, MOST_AIR_CELSIUS + 1, dtype=np.float64)
    airs = airs[(airs >= target_celsius + NEEDED_KELVIN) & (np.abs(airs - signs.air_celsius) <= REACH_KELVIN)]
    if not airs.size:
        return math.nan
    laid = columns(signs, np.full(airs.shape, target_celsius), wrap_at_celsius, airs)
    hours = hours_left(laid, stall_seen=signs.stall_seen)[:, 1]
    # hotter air never comes later, whatever was learned
    hours = np.minimum.accumulate(hours)
    due = np.flatnonzero(signs.now_seconds + HOUR * hours <= by_seconds)
    return float(airs[due[0]]) if due.size else math.nan


def of_piece(arrivals: Sequence[Arrival]) -> Arrival:
    """Give the arrival of the slowest of several parts: the maximum of times that go together in part.

    Each part's time is normal about its median with a deviation of its own to either side; what they share is one
    normal number, over which the product of what is left is averaged.

    Raises:
        ValueError: there is none.
    """
    if not arrivals:
        raise ValueError("the arrival of no part was asked for; give at least one")
    for why in (math.isnan, math.isinf):
        for arrival in arrivals:
            if why(arrival.median_seconds):
                return arrival
    if len(arrivals) == 1:
        return arrivals[0]
    low, middle, high = (
        np.array([getattr(a, name) for a in arrivals]) for name in ("low_seconds", "median_seconds", "high_seconds")
    )
    at = np.linspace(low.min(), (middle + 2.0 * (high - middle)).max(), 600)
    off = at[:, None] - middle
    deviate = off * Z_TEN / np.maximum(np.where(off < 0.0, middle - low, high - middle), 1.0)
    shared = np.linspace(-4.0, 4.0, 41)
    weight = np.exp(-0.5 * shared**2)
    own = (deviate[:, :, None] - math.sqrt(ALIKE) * shared) / math.sqrt(1.0 - ALIKE)
    below = np.prod(_normal(own), axis=1) @ (weight / weight.sum())
    tenth, half, most = np.interp([0.1, 0.5, 0.9], below, at).tolist()
    return Arrival(arrivals[int(np.argmax(middle))].target_celsius, tenth, half, most)


def _normal(deviates: Array) -> Array:
    """Give the normal distribution, by the logistic curve that is nearest to it (Bowling et al. 2009: 1.5e-4)."""
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(1.5976 * deviates + 0.07056 * deviates**3, -60.0, 60.0))))
