"""The boiling point against IAPWS-IF97 saturation and the ICAO Standard Atmosphere, each alone.

Source: packages iapws and ambiance, run, their printed digits; the heights of the atmosphere are geopotential. The
two together, at heights above the sea, and the check values of the formula are held in tests/adapters/decode.
"""

import pytest

from adapters.decode.boiling import EARTH_M, pressure_pascal, saturation_celsius

ICAO_PASCAL = {
    0: 101325.0, 500: 95460.8, 1000: 89874.6, 1500: 84556.0, 2000: 79495.2, 2500: 74682.5, 3000: 70108.5,
    4000: 61640.2, 5000: 54019.9,
}  # fmt: skip
IF97_KILOPASCAL = {0.01: 0.61166, 25: 3.16975, 50: 12.35127, 65: 25.0411, 75: 38.59536, 100: 101.41798}


@pytest.mark.parametrize(("geopotential", "pascal"), ICAO_PASCAL.items())
def test_the_standard_atmosphere(geopotential, pascal):
    height = EARTH_M * geopotential / (EARTH_M - geopotential)
    assert pressure_pascal(height) == pytest.approx(pascal, abs=0.1)


@pytest.mark.parametrize(("celsius", "kilopascal"), IF97_KILOPASCAL.items())
def test_saturation(celsius, kilopascal):
    assert saturation_celsius(1000.0 * kilopascal) == pytest.approx(celsius, abs=2e-4)


def test_the_boiling_point_of_one_atmosphere_is_not_a_hundred():
    """ITS-90: 99.974 °C, 211.95 °F."""
    assert saturation_celsius(101_325.0) == pytest.approx(99.974, abs=5e-4)
