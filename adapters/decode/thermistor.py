"""Thermistors (NTC): Steinhart–Hart and beta equations both ways, and the voltage divider they are read through.

Steinhart and Hart, Deep-Sea Research 15 (1968) 497: 1/T = a + b ln R + c (ln R)³. Beta: 1/T = 1/T₀ + ln(R/R₀)/β.
T in kelvin, R in ohms. What no thermistor can give (no resistance, or none that has a temperature) is NaN.
"""

import itertools
import math
from typing import Literal

from adapters.errors import SourceConfigError

__all__ = [
    "beta_celsius",
    "beta_ohms",
    "coefficients",
    "divider_ohms",
    "steinhart_hart_celsius",
    "steinhart_hart_ohms",
]

KELVIN = 273.15
_ENOUGH = 1e-14
"""Relative, of ln R."""
_MOST_STEPS = 50
Point = tuple[float, float]
"""Degrees Celsius, ohms."""


def steinhart_hart_celsius(ohms: float, a: float, b: float, c: float) -> float:
    """Return the temperature at a resistance, °C; NaN where there is none."""
    if not 0 < ohms < math.inf:
        return math.nan
    log = math.log(ohms)
    return _celsius(a + log * (b + c * log * log))


def steinhart_hart_ohms(celsius: float, a: float, b: float, c: float) -> float:
    """Return the resistance at a temperature, ohms: the real root ln R of the cubic, by Newton's method.

    Returns:
        Ohms; NaN below absolute zero, and where a negative b or c leaves more than one answer.
    """
    if not celsius > -KELVIN or b < 0 or c < 0 or b == c == 0:
        return math.nan
    rest = 1 / (celsius + KELVIN) - a
    size = abs(rest)
    # Either term alone puts the root too far out, and from there the steps come down to it without overshooting.
    log = min(size / b if b else math.inf, math.cbrt(size / c) if c else math.inf)
    for _ in range(_MOST_STEPS):
        slope = b + 3 * c * log * log
        step = (log * (b + c * log * log) - size) / slope if slope else 0.0
        log -= step
        if not abs(step) > _ENOUGH * log:
            break
    return _exp(math.copysign(log, rest))


def beta_celsius(ohms: float, beta: float, ohms_at: float, at_celsius: float = 25.0) -> float:
    """Return the temperature at a resistance.

    Args:
        ohms: the resistance.
        beta: kelvin.
        ohms_at: resistance at `at_celsius`.
        at_celsius: where `ohms_at` holds.

    Returns:
        Degrees Celsius; NaN where there is none.
    """
    if not 0 < ohms < math.inf:
        return math.nan
    return _celsius(1 / (at_celsius + KELVIN) + (math.log(ohms) - math.log(ohms_at)) / beta)


def beta_ohms(celsius: float, beta: float, ohms_at: float, at_celsius: float = 25.0) -> float:
    """Return the resistance at a temperature, ohms; NaN below absolute zero. Arguments as `beta_celsius`."""
    if not celsius > -KELVIN:
        return math.nan
    return _exp(math.log(ohms_at) + beta * (1 / (celsius + KELVIN) - 1 / (at_celsius + KELVIN)))


def coefficients(first: Point, second: Point, third: Point) -> tuple[float, float, float]:
    """Solve Steinhart–Hart's a, b, c through three measured points.

    Args:
        first: degrees Celsius and ohms, best at one end of the range.
        second: the same in its middle.
        third: the same at its other end.

    Raises:
        SourceConfigError: a resistance or temperature that cannot be, or two points that do not fall from cold to hot.
    """
    points = sorted((first, second, third))
    for celsius, ohms in points:
        if not (-KELVIN < celsius < math.inf and 0 < ohms < math.inf):
            raise SourceConfigError(f"{ohms} ohm at {celsius} °C cannot be measured")
    for (cold, high), (hot, low) in itertools.pairwise(points):
        if not (cold < hot and high > low):
            raise SourceConfigError(
                f"{high} ohm at {cold} °C and {low} ohm at {hot} °C: an NTC's resistance falls as it warms"
            )
    (l1, y1), (l2, y2), (l3, y3) = ((math.log(ohms), 1 / (celsius + KELVIN)) for celsius, ohms in points)
    slope2, slope3 = (y2 - y1) / (l2 - l1), (y3 - y1) / (l3 - l1)
    c = (slope3 - slope2) / ((l3 - l2) * (l1 + l2 + l3))
    b = slope2 - c * (l1 * l1 + l1 * l2 + l2 * l2)
    return y1 - l1 * (b + c * l1 * l1), b, c


def divider_ohms(
    reading: float, fixed_ohms: float, full: float, sensor_to: Literal["ground", "supply"] = "ground"
) -> float:
    """Return the resistance of a sensor that forms a divider with a fixed resistor.

    Args:
        reading: counts or volts at the middle.
        fixed_ohms: the other resistor.
        full: counts or volts at full supply.
        sensor_to: where the sensor's other end goes.

    Returns:
        Ohms; NaN at or beyond either end, where the sensor is broken or shorted.
    """
    if not 0 < reading < full:
        return math.nan
    below, above = reading, full - reading
    return fixed_ohms * (below / above if sensor_to == "ground" else above / below)


def _celsius(inverse_kelvin: float) -> float:
    return 1 / inverse_kelvin - KELVIN if inverse_kelvin > 1e-6 else math.nan


def _exp(log: float) -> float:
    return math.exp(log) if log < 700 else math.nan
