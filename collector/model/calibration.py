"""What a probe showed in a bath of known temperature, and the straight line its readings are corrected by from then on.

celsius = gain x raw + offset. Raw values stay what is on record; the line is applied when they are read.
"""

import enum
import math
from collections.abc import Iterable

import msgspec

__all__ = [
    "BOILING_BY_ALTITUDE_SD_KELVIN",
    "BOILING_BY_PRESSURE_SD_KELVIN",
    "DRIFT_SD_KELVIN",
    "ICE_SD_KELVIN",
    "MAX_OFFSET_KELVIN",
    "Calibration",
    "CalibrationError",
    "Kind",
    "Line",
    "Point",
    "check",
    "deciding",
    "line",
    "standing",
]

MAX_OFFSET_KELVIN = 10.0
"""A probe further from its bath than this was not in it, or is broken (common practice, no source)."""
LEAST_GAIN, MOST_GAIN = 0.9, 1.1
MAX_SD_KELVIN = 5.0
LOWEST_BOILING_CELSIUS, HIGHEST_BOILING_CELSIUS = 60.0, 105.0
LOWEST_CELSIUS, HIGHEST_CELSIUS = -60.0, 500.0

ICE_SD_KELVIN = 0.1
"""Standard deviation of a stirred bath of crushed ice and tap water in a cup (common practice, no source)."""
BOILING_BY_PRESSURE_SD_KELVIN = 0.15
"""Likewise of a rolling boil whose pressure was read: what is dissolved in it, and 1 hPa is 0.03 K."""
BOILING_BY_ALTITUDE_SD_KELVIN = 0.27
"""Likewise where only the height is known: weather moves the pressure by some 10 hPa either way, 0.25 K."""
GAIN_SD = 0.005 / math.sqrt(3.0)
"""What an unknown gain may be off by: the slope of IEC 60751 class B, 0.005 a kelvin, taken as evenly spread."""
DRIFT_SD_KELVIN = 0.3
"""What a probe may drift by between calibrations (common practice, no source)."""


class CalibrationError(ValueError):
    """A calibration that would make a probe worse, or was never taken; the message says what to do."""


class Kind(enum.StrEnum):
    """How the temperature of the bath is known."""

    ICE = "ice"
    BOIL = "boil"
    TOGETHER = "together"
    """All probes in one place: from their median, one of them, or another thermometer."""


class Point(msgspec.Struct, frozen=True):
    """What one probe showed in one bath."""

    kind: Kind
    reference_celsius: float
    """What the bath was."""
    raw_celsius: float
    """What the probe showed, nothing added."""
    sd_kelvin: float
    """Standard deviation of the difference of the two: the bath's, and of the probe's mean."""
    time_unix: float

    @property
    def offset_kelvin(self) -> float:
        """What has to be added to the raw value here."""
        return self.reference_celsius - self.raw_celsius


class Line(msgspec.Struct, frozen=True):
    """A correction and how sure it is: surest in the middle of its points, less so with the distance from there."""

    gain: float
    offset_kelvin: float
    """celsius = gain x raw + offset."""
    middle_celsius: float
    middle_sd_kelvin: float
    gain_sd: float
    points: tuple[Point, ...]
    """What it rests on."""

    def celsius(self, raw_celsius: float) -> float:
        """Correct a raw value."""
        return self.gain * raw_celsius + self.offset_kelvin

    def raw(self, celsius: float) -> float:
        """Give the raw value that is corrected to this one."""
        return (celsius - self.offset_kelvin) / self.gain

    def sd_kelvin(self, celsius: float) -> float:
        """Give the standard deviation of a corrected value at the time of calibration."""
        return math.hypot(self.middle_sd_kelvin, self.gain_sd * (celsius - self.middle_celsius))

    @property
    def time_unix(self) -> float:
        """When its newest point was taken."""
        return max(point.time_unix for point in self.points)


class Calibration(msgspec.Struct, frozen=True):
    """One dated step of a probe's calibration, as it goes on record. Steps are never taken off the record."""

    source: str
    key: str
    point: Point | None
    """What was found; None where it was undone."""
    everything: bool = False
    """Undone was not only the last point but all before it."""
    line: Line | None = None
    """What holds from here on; None: what the config states."""


def check(point: Point) -> None:
    """See whether a point may be what it says.

    Raises:
        CalibrationError: it may not.
    """
    numbers = (point.reference_celsius, point.raw_celsius, point.sd_kelvin, point.time_unix)
    if not all(map(math.isfinite, numbers)) or not 0.0 < point.sd_kelvin <= MAX_SD_KELVIN:
        raise CalibrationError("a calibration needs finite numbers, and an uncertainty of more than 0 and at most 5 K")
    low, high = {
        Kind.ICE: (-0.1, 0.1),
        Kind.BOIL: (LOWEST_BOILING_CELSIUS, HIGHEST_BOILING_CELSIUS),
        Kind.TOGETHER: (LOWEST_CELSIUS, HIGHEST_CELSIUS),
    }[point.kind]
    if not low <= point.reference_celsius <= high:
        raise CalibrationError(f"{point.reference_celsius:g} °C is no temperature for {point.kind}")
    if abs(point.offset_kelvin) > MAX_OFFSET_KELVIN:
        raise CalibrationError("it is more than 10 K (18 °F) off: was its tip in the bath? is it broken?")


def deciding(points: Iterable[Point]) -> tuple[Point, ...]:
    """Choose the points that decide, by one rule.

    Of each kind the newest counts. Ice and boiling water together give gain and offset, one of them alone an offset.
    A `together` that is newer than both takes the offset's place and leaves the gain that ice and boiling water gave;
    an older one no longer counts.

    Returns:
        Those that count, in the order ice, boil, together; empty without any.
    """
    newest: dict[Kind, Point] = {}
    for point in points:
        if point.kind not in newest or point.time_unix >= newest[point.kind].time_unix:
            newest[point.kind] = point
    fixed = tuple(newest[kind] for kind in (Kind.ICE, Kind.BOIL) if kind in newest)
    bundle = newest.get(Kind.TOGETHER)
    if bundle is None or any(point.time_unix > bundle.time_unix for point in fixed):
        return fixed
    return (*fixed, bundle) if len(fixed) == 2 else (bundle,)


def line(points: Iterable[Point]) -> Line | None:
    """Lay the line through the points that decide; None without any.

    The uncertainty of two points is that of the weighted straight line through them: variances add with the squares
    of their shares, so it is the points' own at the points and grows beyond them.

    Raises:
        CalibrationError: a point cannot be, or the two fixed points give a gain no probe has.
    """
    used = deciding(points)
    if not used:
        return None
    for point in used:
        check(point)
    last = used[-1]
    gain, gain_sd, middle, sd = 1.0, GAIN_SD, last.reference_celsius, last.sd_kelvin
    if len(used) >= 2:
        ice, boil = used[:2]
        gain = _gain(ice, boil)
        apart = boil.reference_celsius - ice.reference_celsius
        gain_sd = math.hypot(ice.sd_kelvin, boil.sd_kelvin) / apart
        if last is boil:
            weights = ice.sd_kelvin**-2, boil.sd_kelvin**-2
            middle = (weights[0] * ice.reference_celsius + weights[1] * boil.reference_celsius) / sum(weights)
            sd = sum(weights) ** -0.5
    return Line(gain, last.reference_celsius - gain * last.raw_celsius, middle, sd, gain_sd, used)


def _gain(ice: Point, boil: Point) -> float:
    apart = boil.raw_celsius - ice.raw_celsius
    gain = (boil.reference_celsius - ice.reference_celsius) / apart if apart > 0.0 else math.inf
    if not LEAST_GAIN <= gain <= MOST_GAIN:
        raise CalibrationError(
            f"ice and boiling water together give a gain of {gain:.3f}, no probe's (0.9 to 1.1): do both again, or "
            "undo the older one first"
        )
    return gain


def standing(steps: Iterable[Calibration]) -> tuple[Point, ...]:
    """Go through the steps of one probe, oldest first, and give the points that were not undone, oldest first."""
    points: list[Point] = []
    for step in steps:
        if step.point is not None:
            points.append(step.point)
        elif step.everything:
            points.clear()
        elif points:
            points.pop()
    return tuple(points)
