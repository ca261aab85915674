"""Which sensors go with which units, what is refused, and that the right equation is chosen."""

import math

import pytest

from adapters.decode import rtd, thermocouple
from adapters.decode.electrical import UNITS, converter
from adapters.decode.layout import Divider, Rtd, Thermistor, Thermocouple
from adapters.decode.thermistor import beta_celsius, steinhart_hart_celsius
from adapters.errors import SourceConfigError

SHEET = {"a": 1.129148e-3, "b": 2.34125e-4, "c": 8.76741e-8}
BETA = {"beta": 3950.0, "ohms": 1e5}
DIVIDER = Divider(ohms=1e4, full=4095)


@pytest.mark.parametrize(("unit", "scale"), [("uV", 1e3), ("mV", 1.0), ("V", 1e-3)])
@pytest.mark.parametrize("letter", thermocouple.RANGES)
def test_a_thermocouple_in_every_unit_of_voltage(letter, unit, scale):
    compensated = converter(Thermocouple(type=letter, cold_celsius=0.0), unit)
    at_room = converter(Thermocouple(type=letter, cold_celsius=25.0), unit)
    by_junction = converter(Thermocouple(type=letter, cold_from="junction"), unit)
    emf = thermocouple.emf_millivolts(107.2, letter)
    cold = thermocouple.emf_millivolts(25.0, letter)
    assert compensated(emf * scale, None) == pytest.approx(107.2, abs=1e-6)
    assert at_room((emf - cold) * scale, None) == pytest.approx(107.2, abs=1e-6)
    assert by_junction((emf - cold) * scale, 25.0) == pytest.approx(107.2, abs=1e-6)
    assert by_junction(emf * scale, 0.0) == pytest.approx(107.2, abs=1e-6)


def test_a_cold_junction_without_a_value_leaves_none():
    by_junction = converter(Thermocouple(type="K", cold_from="junction"), "mV")
    assert math.isnan(by_junction(4.096, None))
    assert math.isnan(by_junction(4.096, math.nan))
    assert math.isnan(by_junction(4.096, 2000.0))


def test_platinum_and_thermistors_by_resistance():
    assert converter(Rtd(ohms=1000), "ohm")(1400.0, None) == rtd.celsius(1400.0, 1000.0)
    assert converter(Thermistor(**SHEET), "ohm")(5e3, None) == steinhart_hart_celsius(5e3, *SHEET.values())
    assert converter(Thermistor(**BETA), "ohm")(5e3, None) == beta_celsius(5e3, 3950.0, 1e5)
    assert converter(Thermistor(**BETA, at_celsius=30), "ohm")(1e5, None) == pytest.approx(30.0, abs=1e-9)


@pytest.mark.parametrize("unit", ["count", "V"])
def test_a_thermistor_through_its_divider(unit):
    half = converter(Thermistor(**SHEET, divider=DIVIDER), unit)
    assert half(4095 / 2, None) == pytest.approx(25.0, abs=0.001)
    falling = converter(Thermistor(**SHEET, divider=Divider(ohms=1e4, full=4095, sensor_to="supply")), unit)
    assert falling(1000, None) == pytest.approx(half(3095, None), abs=1e-9)
    assert half(3000, None) < half(2000, None)


@pytest.mark.parametrize(
    ("sensor", "unit", "broken"),
    [
        (Thermocouple(type="K", cold_celsius=0), "mV", [60.0, -7.0]),
        (Rtd(), "ohm", [0.0, 1e6, -1.0]),
        (Thermistor(**SHEET), "ohm", [0.0, -1.0]),
        (Thermistor(**SHEET, divider=DIVIDER), "count", [0, 4095, 5000]),
    ],
)
def test_a_broken_or_shorted_sensor_has_no_temperature(sensor, unit, broken):
    convert = converter(sensor, unit)
    for value in [*broken, math.nan, math.inf, -math.inf]:
        assert math.isnan(convert(value, None)), value


REFUSED = [
    (Thermocouple(type="K", cold_celsius=0), "ohm", 'write unit = "uV", "mV" or "V"'),
    (Thermocouple(type="K", cold_celsius=0), "count", "scale counts"),
    (Thermocouple(type="K", cold_celsius=20, cold_from="x"), "mV", "both given; write cold_from where"),
    (Thermocouple(type="K"), "mV", "cold junction is missing; write cold_from = "),
    (Rtd(), "mV", 'write unit = "ohm"'),
    (Rtd(), "count", 'write unit = "ohm"'),
    (Thermistor(**SHEET), "count", "divider = "),
    (Thermistor(**SHEET), "mV", "divider = "),
    (Thermistor(**SHEET), "V", "divider = "),
    (Thermistor(**SHEET, divider=DIVIDER), "ohm", "leave the divider out"),
    (Thermistor(**SHEET, divider=DIVIDER), "mV", 'write unit = "count" or "V"'),
    (Thermistor(**SHEET, **BETA), "ohm", "write either a, b and c, or beta and ohms"),
    (Thermistor(**BETA, a=1e-3), "ohm", "by a and by beta, ohms"),
    (Thermistor(), "ohm", "beta and ohms of the thermistor missing"),
    (Thermistor(a=1e-3), "ohm", "b and c of the thermistor missing"),
    (Thermistor(a=1e-3, b=2e-4), "ohm", "c of the thermistor missing"),
    (Thermistor(beta=3950), "ohm", "ohms of the thermistor missing"),
    (Thermistor(ohms=1e5), "ohm", "beta of the thermistor missing"),
    (Thermistor(a=1e-3, b=-2e-4, c=0.0), "ohm", "no NTC"),
    (Rtd(), "degC", "gives no 'degC'"),
]


@pytest.mark.parametrize(("sensor", "unit", "says"), REFUSED)
def test_what_cannot_work_is_refused_and_says_what_to_write(sensor, unit, says):
    with pytest.raises(SourceConfigError, match=says):
        converter(sensor, unit)


def test_every_unit_serves_a_sensor():
    served = set()
    for sensor in (Thermocouple(type="K", cold_celsius=0), Rtd(), Thermistor(**SHEET, divider=DIVIDER)):
        for unit in UNITS:
            try:
                converter(sensor, unit)
            except SourceConfigError:
                continue
            served.add(unit)
    assert served == UNITS
