"""What a converter measures at a sensor (ohms, volts, counts) to degrees Celsius."""

import math
from collections.abc import Callable
from typing import Literal, TypeAlias

from adapters.decode import rtd, thermocouple
from adapters.decode.layout import Rtd, Sensor, Thermistor, Thermocouple
from adapters.decode.thermistor import beta_celsius, divider_ohms, steinhart_hart_celsius
from adapters.errors import SourceConfigError

__all__ = ["UNITS", "Converter", "ElectricalUnit", "converter"]

ElectricalUnit = Literal["ohm", "uV", "mV", "V", "count"]
UNITS: frozenset[str] = frozenset({"ohm", "uV", "mV", "V", "count"})
"""Units that need a sensor."""

Converter: TypeAlias = Callable[[float, float | None], float]
"""Takes what was measured and the cold junction's temperature, °C, or None; gives °C, NaN for a broken or shorted
sensor and for a cold junction that has no value."""

_MILLIVOLTS = {"uV": 1e-3, "mV": 1.0, "V": 1e3}


def converter(sensor: Sensor, unit: str) -> Converter:
    """Compile what a sensor's value means.

    Args:
        sensor: what is connected.
        unit: what its value is given in: one of `UNITS`.

    Returns:
        A function of the value and the cold junction. Only a thermocouple with `cold_from` looks at the latter.

    Raises:
        SourceConfigError: sensor and unit, or the sensor's own fields, do not go together; says what to write.
    """
    if unit not in UNITS:
        raise SourceConfigError(f'a sensor gives no {unit!r}; write unit = "ohm", "uV", "mV", "V" or "count"')
    if isinstance(sensor, Thermocouple):
        return _thermocouple(sensor, unit)
    if isinstance(sensor, Rtd):
        return _rtd(sensor, unit)
    return _thermistor(sensor, unit)


def _thermocouple(sensor: Thermocouple, unit: str) -> Converter:
    if unit not in _MILLIVOLTS:
        raise SourceConfigError(
            f'a thermocouple gives a voltage, not {unit}; write unit = "uV", "mV" or "V", and scale counts to it'
            " with multiplier"
        )
    if sensor.cold_from and sensor.cold_celsius is not None:
        raise SourceConfigError(
            "cold_celsius and cold_from are both given; write cold_from where the device tells the temperature of"
            " the junction, else cold_celsius"
        )
    letter, millivolts = sensor.type, _MILLIVOLTS[unit]
    if sensor.cold_from:

        def by_junction(value: float, cold_celsius: float | None) -> float:
            if cold_celsius is None:
                return math.nan
            return thermocouple.celsius(value * millivolts, letter, cold_celsius)

        return by_junction
    if sensor.cold_celsius is None:
        raise SourceConfigError(
            "the cold junction is missing; write cold_from = the value that tells its temperature, or"
            " cold_celsius = 0 where the device has compensated already"
        )
    cold = thermocouple.emf_millivolts(sensor.cold_celsius, letter)

    def by_constant(value: float, _cold_celsius: float | None) -> float:
        return thermocouple.celsius(value * millivolts + cold, letter)

    return by_constant


def _rtd(sensor: Rtd, unit: str) -> Converter:
    if unit != "ohm":
        raise SourceConfigError(
            f'a resistance thermometer gives ohms, not {unit}; write unit = "ohm", and scale the value to ohms with'
            " multiplier and add"
        )
    r0 = sensor.ohms

    def by_resistance(value: float, _cold_celsius: float | None) -> float:
        return rtd.celsius(value, r0)

    return by_resistance


def _thermistor(sensor: Thermistor, unit: str) -> Converter:
    resistance, divider = _curve(sensor), sensor.divider
    if divider is None:
        if unit != "ohm":
            raise SourceConfigError(
                f'a thermistor gives ohms, not {unit}; write unit = "ohm", or describe the divider it is read'
                " through: divider = { ohms = …, full = … }"
            )
        return lambda value, _cold_celsius: resistance(value)
    if unit not in ("count", "V"):
        raise SourceConfigError(
            f'a divider gives counts or volts, not {unit}; write unit = "count" or "V", or leave the divider out'
        )
    fixed_ohms, full, sensor_to = divider.ohms, divider.full, divider.sensor_to
    return lambda value, _cold_celsius: resistance(divider_ohms(value, fixed_ohms, full, sensor_to))


def _curve(sensor: Thermistor) -> Callable[[float], float]:
    """Compile ohms to °C, by whichever equation the sensor's fields are of."""
    a, b, c, beta, ohms, at_celsius = sensor.a, sensor.b, sensor.c, sensor.beta, sensor.ohms, sensor.at_celsius
    by_coefficients = [letter for letter in "abc" if getattr(sensor, letter) is not None]
    by_beta = [field for field in ("beta", "ohms") if getattr(sensor, field) is not None]
    if by_coefficients and by_beta:
        raise SourceConfigError(
            f"a thermistor by {', '.join(by_coefficients)} and by {', '.join(by_beta)}; write either a, b and c, or"
            " beta and ohms"
        )
    if a is not None and b is not None and c is not None:
        if b <= 0 and c <= 0:
            raise SourceConfigError(f"b = {b:g} and c = {c:g}: no NTC, whose resistance falls as it warms")
        return lambda value: steinhart_hart_celsius(value, a, b, c)
    if beta is not None and ohms is not None:
        return lambda value: beta_celsius(value, beta, ohms, at_celsius)
    missing = [f for f in ("a", "b", "c") if f not in by_coefficients] if by_coefficients else None
    missing = missing or [f for f in ("beta", "ohms") if f not in by_beta]
    raise SourceConfigError(
        f"{' and '.join(missing)} of the thermistor missing; write a, b and c of its Steinhart–Hart equation, or beta"
        " and ohms"
    )
