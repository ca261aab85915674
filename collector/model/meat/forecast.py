"""STAND-IN of the engine's author, to be overwritten by the author of the forecast."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from collector.model.field import Array
from collector.model.meat.track import Track


@dataclass(frozen=True, slots=True)
class Arrival:
    """An arrival."""

    target_celsius: float
    low_seconds: float
    median_seconds: float
    high_seconds: float
    why: str = ""


class Forecaster:
    """Stand in."""

    def update(
        self,
        track: Track,
        targets: Sequence[float],
        wrap_at_celsius: float = math.nan,
        air_ahead_celsius: float = math.nan,
    ) -> tuple[Arrival, ...]:
        """Stand in."""
        return tuple(Arrival(t, math.nan, math.nan, math.nan, "not known") for t in targets)


def curve(track: Track, at_seconds: Array, wrap_at_celsius: float = math.nan) -> Array:
    """Stand in."""
    return np.full((len(at_seconds), 3), math.nan)


def air_needed(track: Track, target: float, by_seconds: float, wrap_at_celsius: float = math.nan) -> float:
    """Stand in."""
    return math.nan


def of_piece(arrivals: Sequence[Arrival]) -> Arrival:
    """Stand in."""
    return max(arrivals, key=lambda a: a.median_seconds)
