"""What a piece of meat meets in a drawn night: air, wrap and probe. Ranges are common practice, no source."""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

__all__ = ["MINUTES", "Drawn", "draw", "shown"]

Array = NDArray[np.float64]
MINUTES = 24 * 60
"""Of a night; what has not arrived by then is left out."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """So many nights, shape (n,) or (n, minutes)."""

    air: Array
    """Around the meat, °C."""
    shown_air: Array
    """What the zone says."""
    start_celsius: Array
    mass_kg: Array
    half_thickness_m: Array
    wrap_at: Array
    """Temperature of the tip at which it is wrapped; infinite: not for that."""
    wrap_minute: Array
    """Minute at which it is wrapped whatever it shows; infinite: not for that."""
    wrap_open: Array
    """How much of the sweat the wrap lets through: none through foil, some through paper."""
    wrap_heat: Array


def draw(random: Generator, n: int) -> Drawn:
    """Draw n nights."""
    u = random.uniform
    level = u(102.0, 145.0, n)
    minutes = np.arange(MINUTES, dtype=np.float64)
    air = np.repeat(level[:, None], MINUTES, axis=1)
    air += _wander(random, n)
    for k in range(n):
        air[k] += _saw(random) + _changes(random, minutes)
        if u() < 0.25:
            air[k] -= u(10.0, 45.0) * np.exp(-minutes / u(15.0, 40.0))
    at_meat = air - u(-6.0, 6.0, n)[:, None]
    shown_air = air + random.normal(0.0, u(0.2, 1.2, n)[:, None], air.shape)
    mass = u(3.0, 8.0, n)
    half = np.clip(0.035 * (mass / 5.5) ** 0.33 * np.exp(random.normal(0.0, 0.32, n)), 0.015, 0.065)
    how = u(size=n)
    wrap_at = np.where(how < 0.5, u(62.0, 81.0, n), np.inf)
    wrap_minute = np.where((how >= 0.5) & (how < 0.65), u(180.0, 600.0, n), np.inf)
    foil = u(size=n) < 0.5
    return Drawn(
        at_meat, shown_air, u(2.0, 10.0, n), mass, half, wrap_at, wrap_minute,
        np.where(foil, u(0.0, 0.08, n), u(0.1, 0.55, n)), np.where(foil, u(0.7, 1.05, n), u(0.75, 1.0, n)),
    )  # fmt: skip


def _wander(random: Generator, n: int) -> Array:
    """Draw a slow wander of the level, kelvin, shape (n, minutes)."""
    hours = random.uniform(1.5, 5.0, n)
    keep = np.exp(-1.0 / (60.0 * hours))
    size = random.uniform(0.5, 4.5, n)
    out = np.empty((n, MINUTES))
    now = size * random.standard_normal(n)
    for k in range(MINUTES):
        out[:, k] = now
        now = keep * now + size * np.sqrt(1.0 - keep**2) * random.standard_normal(n)
    return out


def _saw(random: Generator) -> Array:
    """Draw the saw-tooth of a fire, kelvin."""
    swing = random.uniform(4.0, 25.0)
    ends = np.cumsum(random.uniform(28.0, 62.0) * random.uniform(0.8, 1.2, 60))
    minutes = np.arange(MINUTES, dtype=np.float64)
    row = np.searchsorted(ends, minutes)
    begin = np.concatenate([[0.0], ends])[row]
    share = (minutes - begin) / (ends[row] - begin)
    rise = random.uniform(0.15, 0.35)
    return np.asarray(swing * (np.where(share < rise, share / rise, (1.0 - share) / (1.0 - rise)) - 0.5))


def _changes(random: Generator, minutes: Array) -> Array:
    """Draw what the cook does to the pit, and what the fire does to him, kelvin."""
    u = random.uniform
    out = np.zeros(MINUTES)
    if u() < 0.4:
        at, by = u(120.0, 780.0), u(4.0, 18.0) * (1.0 if u() < 0.75 else -1.0)
        out += by / (1.0 + np.exp(-(minutes - at) / u(4.0, 15.0)))
    for at in u(20.0, MINUTES, int(random.integers(0, 14))):
        out -= np.where(minutes >= at, u(10.0, 50.0) * np.exp(-(minutes - at) / u(3.0, 9.0)), 0.0)
    for at in u(60.0, 900.0, int(random.integers(0, 3)) if u() < 0.5 else 0):
        out -= u(8.0, 35.0) * np.exp(-0.5 * ((minutes - at) / u(15.0, 45.0)) ** 2)
    return out


def shown(random: Generator, tip: Array) -> Array:
    """Give what a probe shows of a tip (n, minutes): noise, steps of a tenth, and spans of silence (NaN)."""
    n = len(tip)
    out = np.round(tip + random.normal(0.0, random.uniform(0.05, 0.5, n)[:, None], tip.shape), 1)
    for k in np.flatnonzero(random.uniform(size=n) < 0.35):
        for at in random.integers(0, MINUTES, int(random.integers(1, 5))):
            out[k, at : at + int(random.integers(2, 45))] = np.nan
    return np.asarray(out)
