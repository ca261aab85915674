"""A cook minute by minute: means of the trend, and which minutes count as steady. Pure."""

from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from collector.model.field import Array
from collector.snapshot import Phase, Snapshot

__all__ = ["Minutes", "is_steady", "minutes_of"]

MINUTE = 60.0
APART_SECONDS = 300.0
"""What a moment this far away says of phase and probes no longer holds."""


BURNT_DOWN_KELVIN = 15.0
"""So far below the band a fire is out or dying, and what the chamber does then is no measure of its evenness."""


def is_steady(moment: Snapshot) -> bool:
    """Tell whether a moment belongs to the steady stretch: the fire steady, the lid shut, and not burnt down."""
    return moment.fire.phase is Phase.STEADY and moment.fire.level_celsius >= moment.low_celsius - BURNT_DOWN_KELVIN


class Minutes(msgspec.Struct, frozen=True):
    """Means over each minute that the trend tells of; NaN where nothing was known."""

    unix: Array
    """Middle of each minute, shape (m,)."""
    grate: Array
    """Mean of the grate, °C, shape (m,)."""
    zones: Array
    """Mean of each zone, °C, shape (zones, m)."""
    probes: Array
    """What each probe said, °C, shape (probes, m)."""
    believed: NDArray[np.bool_]
    """Whether it was believed then, shape (probes, m)."""
    steady: NDArray[np.bool_]
    """Of the steady stretch, shape (m,)."""


def minutes_of(
    unix: Array, grate: Array, zones: Array, probes: Array, moments: Sequence[Snapshot]
) -> Minutes:  # fmt: skip
    """Reduce the trend to minutes.

    Args:
        unix: times of the trend, ascending, shape (n,).
        grate: shape (n,).
        zones: shape (zones, n).
        probes: shape (probes, n).
        moments: the cook every few minutes, oldest first; at least one.
    """
    bins, first = np.unique(np.floor(unix / MINUTE), return_index=True)
    middle = (bins + 0.5) * MINUTE
    told_unix = np.array([moment.now_unix for moment in moments])
    before = np.clip(np.searchsorted(told_unix, middle, side="right") - 1, 0, len(moments) - 1)
    after = np.minimum(before + 1, len(moments) - 1)
    near = np.abs(told_unix[before] - middle) <= APART_SECONDS
    steady = np.array([is_steady(moment) for moment in moments])
    used = np.array([[_sound(p.used, p.duty, p.silent) for p in moment.probes] for moment in moments], dtype=bool)
    used = used.reshape(len(moments), -1)
    return Minutes(
        middle, _binned(grate[None, :], first)[0], _binned(zones, first), _binned(probes, first),
        (used[before] & near[:, None]).T, steady[before] & steady[after] & near,
    )  # fmt: skip


def _sound(used: bool, duty: str, silent: bool) -> bool:
    """Tell whether a probe is believed: the map uses it, or it is none of the chamber's and is heard."""
    return used or (duty != "chamber" and not silent)


def _binned(values: Array, first: NDArray[np.intp]) -> Array:
    """Average the known values from each index up to the next, shape (k, n) to (k, m)."""
    if not first.size or not values.size:
        return np.full((values.shape[0], first.size), np.nan)
    known = np.isfinite(values)
    total = np.add.reduceat(np.where(known, values, 0.0), first, axis=1)
    count = np.add.reduceat(known.astype(np.float64), first, axis=1)
    return np.where(count > 0, total / np.maximum(count, 1.0), np.nan)
