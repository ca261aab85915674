"""STAND-IN of the engine's author, to be overwritten by the author of the forecast."""

import math
from dataclasses import dataclass

from collector.model.meat.track import Track


@dataclass(frozen=True, slots=True)
class Stall:
    """A stall."""

    onset_seconds: float
    celsius: float
    depth: float
    end_seconds: float
    wet_bulb_celsius: float


def stall_of(track: Track) -> Stall | None:
    """Stand in."""
    return None


def wrap_gain_seconds(track: Track, target: float) -> float:
    """Stand in."""
    return math.nan
