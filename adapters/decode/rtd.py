"""Platinum resistance thermometers by IEC 60751, on ITS-90: the Callendar–Van Dusen equation both ways.

R = R0 (1 + A t + B t²), and below 0 °C also R0 C (t - 100) t³. Tables of the older IPTS-68 (138.50 Ω at 100 °C)
look alike and differ by up to 0.3 °C at 600 °C.
"""

import math

__all__ = ["HIGHEST", "LOWEST", "celsius", "ohms"]

A = 3.9083e-3
B = -5.775e-7
C = -4.183e-12
"""IEC 60751:2008 and 2022, 4.2."""
LOWEST = -200.0
HIGHEST = 850.0
"""Range of the equation, °C."""
_ENOUGH_CELSIUS = 1e-10
_MOST_STEPS = 20


def ohms(celsius: float, r0: float) -> float:
    """Return the resistance at a temperature.

    Args:
        celsius: the temperature.
        r0: resistance at 0 °C, ohms: 100 (Pt100) or 1000 (Pt1000).

    Returns:
        Ohms; NaN outside -200 to 850 °C.
    """
    if not LOWEST <= celsius <= HIGHEST:
        return math.nan
    return r0 * _ratio(celsius)


def celsius(ohms: float, r0: float) -> float:
    """Return the temperature at a resistance: closed form above 0 °C, Newton's method below.

    Args:
        ohms: the resistance.
        r0: resistance at 0 °C, ohms.

    Returns:
        Degrees Celsius; NaN outside -200 to 850 °C, as for a broken or shorted sensor.
    """
    ratio = ohms / r0
    if not _LEAST_RATIO <= ratio <= _GREATEST_RATIO:
        return math.nan
    at = (-A + math.sqrt(A * A - 4 * B * (1 - ratio))) / (2 * B)
    if ratio >= 1:
        return at
    for _ in range(_MOST_STEPS):
        step = (ratio - _ratio(at)) / (A + 2 * B * at + C * (4 * at - 300) * at * at)
        at += step
        if abs(step) < _ENOUGH_CELSIUS:
            break
    return at


def _ratio(celsius: float) -> float:
    ratio = 1 + celsius * (A + B * celsius)
    return ratio if celsius >= 0 else ratio + C * (celsius - 100) * celsius**3


_LEAST_RATIO = _ratio(LOWEST)
_GREATEST_RATIO = _ratio(HIGHEST)
