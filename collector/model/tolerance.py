"""What the standards allow a sensor to be off by, class by class, and in which class a calibrated one stands."""

import enum
import math
from collections.abc import Sequence

import msgspec

from collector.model.calibration import Point

__all__ = ["CLASSES", "PLATINUM", "Standing", "Tolerance", "best_class", "standing_in"]


class Tolerance(msgspec.Struct, frozen=True):
    """Limits of one class."""

    least_kelvin: float
    share: float
    """Of the temperature in degrees Celsius, without its sign."""
    whichever_is_greater: bool = False
    """Of the two; else their sum."""

    def limit_kelvin(self, celsius: float) -> float:
        """Give how far off a sensor of the class may be at a temperature, either way."""
        slope = self.share * abs(celsius)
        return max(self.least_kelvin, slope) if self.whichever_is_greater else self.least_kelvin + slope

    def sd_kelvin(self, celsius: float) -> float:
        """Give the standard deviation that stands for: the limit taken as evenly spread (GUM, 4.3.7)."""
        return self.limit_kelvin(celsius) / math.sqrt(3.0)


PLATINUM = ("IEC 60751 AA", "IEC 60751 A", "IEC 60751 B", "IEC 60751 C")
"""Classes of platinum resistances, narrowest first."""

CLASSES: dict[str, Tolerance] = {
    "IEC 60751 AA": Tolerance(0.1, 0.0017),
    "IEC 60751 A": Tolerance(0.15, 0.002),
    "IEC 60751 B": Tolerance(0.3, 0.005),
    "IEC 60751 C": Tolerance(0.6, 0.01),
    "IEC 60584-1 K class 1": Tolerance(1.5, 0.004, whichever_is_greater=True),
    "IEC 60584-1 K class 2": Tolerance(2.5, 0.0075, whichever_is_greater=True),
}
"""IEC 60751, table of tolerance classes (C from memory); IEC 60584-1, type K (from memory)."""


class Standing(enum.StrEnum):
    """How a probe stands to the class it is said to be of."""

    WITHIN = "within"
    EDGE = "at the edge of"
    """Off by more than the limit, yet not by more than what the calibration itself may be off by."""
    OUTSIDE = "outside"


def standing_in(name: str, points: Sequence[Point]) -> Standing:
    """Tell how a probe stands to a class, by the worst of its points.

    Args:
        name: a key of `CLASSES`.
        points: what it showed in baths.
    """
    beyond = [(abs(p.offset_kelvin) - CLASSES[name].limit_kelvin(p.reference_celsius), p.sd_kelvin) for p in points]
    if any(over > 2.0 * sd for over, sd in beyond):
        return Standing.OUTSIDE
    return Standing.EDGE if any(over > 0.0 for over, _ in beyond) else Standing.WITHIN


def best_class(points: Sequence[Point]) -> str:
    """Name the narrowest class of platinum resistances a probe stands in at all of its points; empty for none.

    A class narrower than twice the standard deviation of the calibration is never named: it could not be told.
    """
    for name in PLATINUM:
        limits = [CLASSES[name].limit_kelvin(p.reference_celsius) for p in points]
        if all(max(abs(p.offset_kelvin), 2.0 * p.sd_kelvin) <= limit for p, limit in zip(points, limits, strict=True)):
            return name if points else ""
    return ""
