"""Cooling of what was cooked, by the published limits the cook goes by. Pure; it advises, the authority decides."""

import enum
import math
from collections.abc import Mapping

import msgspec

__all__ = ["LIMITS", "OTHER_LIMITS", "Cooling", "CoolingLimits", "CoolingRule", "PartCooling"]


class CoolingRule(enum.StrEnum):
    """Whose limits are gone by."""

    FOOD_CODE = "food-code"
    APPENDIX_B = "appendix-b"


class CoolingLimits(msgspec.Struct, frozen=True):
    """Two stages, each with the temperature it ends at and the time it may take."""

    title: str
    """The published source, as it is shown."""
    from_celsius: float
    """The first stage begins when the meat passes this on its way down."""
    first_celsius: float
    first_seconds: float
    second_celsius: float
    second_seconds: float
    in_all: bool
    """The second time counts from when the first stage began; else from when it ended."""


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


LIMITS = {
    CoolingRule.FOOD_CODE: CoolingLimits(
        "FDA Food Code 3-501.14", _celsius(135.0), _celsius(70.0), 2 * 3600.0, _celsius(41.0), 6 * 3600.0, in_all=True
    ),
    CoolingRule.APPENDIX_B: CoolingLimits(
        "USDA FSIS Appendix B", _celsius(130.0), _celsius(80.0), 1.5 * 3600.0, _celsius(40.0), 5 * 3600.0, in_all=False
    ),
}
"""FDA Food Code 3-501.14: from 135 to 70 °F within two hours, to 41 °F within six in all. USDA FSIS, Appendix B to the
compliance guidelines, first option: from 130 to 80 °F within an hour and a half, then to 40 °F within five hours more.
The other options of Appendix B, those for cured meat among them, are not counted here."""

OTHER_LIMITS = "other limits exist, such as those of Appendix B for cured meat; none of them is counted here"


class Cooling:
    """Where each part of a piece is between the two stages of one pair of limits.

    Every part has its own clock: a thin one passes the first temperature sooner, and its time is over sooner too.

    Args:
        limits: the pair.
    """

    def __init__(self, limits: CoolingLimits = LIMITS[CoolingRule.FOOD_CODE]) -> None:
        self._limits = limits
        self._parts: dict[str, PartCooling] = {}

    def look(self, now: float, celsius: Mapping[str, float]) -> None:
        """Take note of each part by its probe, °C; NaN tells nothing. Probes that are not named are gone."""
        self._parts = {probe: self._parts.get(probe) or PartCooling(self._limits) for probe in celsius}
        for probe, value in celsius.items():
            self._parts[probe].look(now, value)

    def due_unix(self) -> float:
        """Give when the first part must be through its stage; NaN where none is under way."""
        return min((due for part in self._parts.values() if not math.isnan(due := part.due_unix())), default=math.nan)

    def left_seconds(self, now: float) -> float:
        """Give the least time left; less than nothing where a part took too long, NaN where none is under way."""
        lefts = (part.left_seconds(now) for part in self._parts.values())
        return min((left for left in lefts if not math.isnan(left)), default=math.nan)


class PartCooling(msgspec.Struct):
    """Where one part is between the two stages of one pair of limits."""

    limits: CoolingLimits = LIMITS[CoolingRule.FOOD_CODE]
    began_unix: float = math.nan
    first_unix: float = math.nan
    """When the first stage was over."""
    second_unix: float = math.nan

    def look(self, now: float, celsius: float) -> None:
        """Take note of its temperature, °C; NaN tells nothing."""
        if math.isnan(celsius):
            return
        if celsius >= self.limits.from_celsius and math.isnan(self.first_unix):
            self.began_unix = math.nan  # it is hot, or was made so again
            return
        if math.isnan(self.began_unix):
            self.began_unix = now
        if math.isnan(self.first_unix) and celsius <= self.limits.first_celsius:
            self.first_unix = now
        if math.isnan(self.second_unix) and celsius <= self.limits.second_celsius:
            self.second_unix = now

    def due_unix(self) -> float:
        """Give when the stage it is in must be over; NaN before it began and when it is done."""
        if math.isnan(self.began_unix) or not math.isnan(self.second_unix):
            return math.nan
        if math.isnan(self.first_unix):
            return self.began_unix + self.limits.first_seconds
        return self._second_due()

    def left_seconds(self, now: float) -> float:
        """Give the time left in this stage; less than nothing where one took too long, NaN where none is under way."""
        return -1.0 if self.late() else self.due_unix() - now

    def late(self) -> bool:
        """Tell whether a stage that is over took too long."""
        first = self.first_unix - self.began_unix > self.limits.first_seconds
        return first or self.second_unix > self._second_due()

    def _second_due(self) -> float:
        return (self.began_unix if self.limits.in_all else self.first_unix) + self.limits.second_seconds
