"""Water and air as far as a stall needs them: what a wet surface settles at. Pure.

Source: ASHRAE Handbook, *Fundamentals*, Psychrometrics: humidity ratio from the wet bulb (from memory); saturation
pressure by the Magnus formula of Alduchov & Eskridge 1996, within 1.2 % of IAPWS-IF97
up to 75 °C and 2.7 % at 100 °C.
"""

import math

__all__ = ["SMOKE_HUMIDITY", "saturation_pascal", "wet_bulb_celsius"]

ATMOSPHERE_PASCAL = 101_325.0
SMOKE_HUMIDITY = 0.2
"""kg of vapour for a kg of dry gas about wet meat in a closed pit (an order of size: dry air explains no plateau)."""
CLOSE_KELVIN = 0.001


def saturation_pascal(celsius: float) -> float:
    """Give the pressure of saturated vapour over water, Pa."""
    return 610.94 * math.exp(17.625 * celsius / (celsius + 243.04))


def wet_bulb_celsius(celsius: float, humidity: float, pascal: float = ATMOSPHERE_PASCAL) -> float:
    """Give the psychrometric wet bulb of air.

    Args:
        celsius: of the air.
        humidity: kg of vapour for a kg of dry air.
        pascal: pressure of the air.
    """
    low, high = -20.0, celsius
    while high - low > CLOSE_KELVIN:
        middle = 0.5 * (low + high)
        if _humidity_at(celsius, middle, pascal) > humidity:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def _humidity_at(celsius: float, wet_bulb: float, pascal: float) -> float:
    """Give the humidity at which air has that wet bulb; infinite where water boils."""
    vapour = saturation_pascal(wet_bulb)
    if vapour >= pascal:
        return math.inf
    saturated = 0.621945 * vapour / (pascal - vapour)
    return ((2501.0 - 2.326 * wet_bulb) * saturated - 1.006 * (celsius - wet_bulb)) / (
        2501.0 + 1.86 * celsius - 4.186 * wet_bulb
    )
