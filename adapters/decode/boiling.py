"""At what temperature water boils at a height: the two fixed points a thermometer is tried in are ice and this.

Sources: ICAO Standard Atmosphere (Doc 7488), pressure below 11 km; IAPWS-IF97, region 4, equation 31, saturation
temperature of water. Weather moves the boiling point by up to a kelvin either way.
"""

from adapters.errors import SourceConfigError

__all__ = ["boiling_celsius", "pressure_pascal", "saturation_celsius"]

EARTH_M = 6_356_766.0
"""The earth's radius by which the standard atmosphere turns heights into geopotential ones."""
LOWEST_M, HIGHEST_M = -500.0, 9000.0
_N = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
    0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip
"""IAPWS-IF97, table 34."""


def pressure_pascal(altitude_m: float) -> float:
    """Give the pressure of the standard atmosphere at a height above the sea of up to 11,000 m."""
    geopotential_m = EARTH_M * altitude_m / (EARTH_M + altitude_m)
    return float(101_325.0 * (1.0 - 0.0065 * geopotential_m / 288.15) ** (9.80665 / (0.0065 * 287.05287)))


def saturation_celsius(pascal: float) -> float:
    """Give the temperature at which water boils under a pressure of 611 Pa to 22 MPa."""
    n = (0.0, *_N)
    beta = (pascal / 1e6) ** 0.25
    e = beta**2 + n[3] * beta + n[6]
    f = n[1] * beta**2 + n[4] * beta + n[7]
    g = n[2] * beta**2 + n[5] * beta + n[8]
    d = 2.0 * g / (-f - (f**2 - 4.0 * e * g) ** 0.5)
    root = ((n[10] + d) ** 2 - 4.0 * (n[9] + n[10] * d)) ** 0.5
    return float((n[10] + d - root) / 2.0 - 273.15)


def boiling_celsius(altitude_m: float = 0.0) -> float:
    """Give the boiling point of water at a height above the sea.

    >>> round(boiling_celsius(0.0), 2)
    99.97

    Raises:
        SourceConfigError: nobody cooks at such a height.
    """
    if not LOWEST_M <= altitude_m <= HIGHEST_M:
        raise SourceConfigError(f"{altitude_m:g} m is no height to cook at; {LOWEST_M:g} to {HIGHEST_M:g} m are")
    return saturation_celsius(pressure_pascal(altitude_m))
