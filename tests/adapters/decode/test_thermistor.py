"""Thermistors both ways, their dividers, and what no thermistor can give."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from adapters.decode.thermistor import (
    beta_celsius,
    beta_ohms,
    coefficients,
    divider_ohms,
    steinhart_hart_celsius,
    steinhart_hart_ohms,
)
from adapters.errors import SourceConfigError

SHEET = (1.129148e-3, 2.34125e-4, 8.76741e-8)
NOWHERE = [0.0, -1.0, math.nan, math.inf, -math.inf]
pit = st.floats(-50, 400)


@given(pit)
def test_both_equations_come_back(at):
    assert steinhart_hart_celsius(steinhart_hart_ohms(at, *SHEET), *SHEET) == pytest.approx(at, abs=1e-6)
    assert steinhart_hart_celsius(steinhart_hart_ohms(at, 1e-3, 2.5e-4, 0.0), 1e-3, 2.5e-4, 0.0) == pytest.approx(
        at, abs=1e-6
    )
    assert beta_celsius(beta_ohms(at, 3950.0, 1e5), 3950.0, 1e5) == pytest.approx(at, abs=1e-6)


@given(pit, pit)
def test_resistance_falls_as_it_warms(one, other):
    if abs(one - other) > 1e-3:
        cold, hot = sorted((one, other))
        assert steinhart_hart_ohms(cold, *SHEET) > steinhart_hart_ohms(hot, *SHEET)
        assert beta_ohms(cold, 3950.0, 1e5) > beta_ohms(hot, 3950.0, 1e5)


def test_beta_is_steinhart_hart_without_its_third_term():
    a = 1 / 298.15 - math.log(1e5) / 3950
    for ohms in (1e3, 1e4, 1e5, 1e6):
        assert beta_celsius(ohms, 3950.0, 1e5) == pytest.approx(
            steinhart_hart_celsius(ohms, a, 1 / 3950, 0.0), abs=1e-9
        )


@pytest.mark.parametrize("ohms", NOWHERE)
def test_no_resistance_has_no_temperature(ohms):
    assert math.isnan(steinhart_hart_celsius(ohms, *SHEET))
    assert math.isnan(beta_celsius(ohms, 3950.0, 1e5))


@given(st.floats(allow_nan=True), st.floats(-1e12, 1e12), st.floats(-1e12, 1e12), st.floats(-1e12, 1e12))
@example(25.0, 1e-3, 1.0, 5e-93)
@example(25.0, 0.0, 5e-324, 5e-324)
@example(25.0, 1e12, 5e-324, 0.0)
@example(0.0, 1 / 273.15, 0.0, 1e-7)
def test_any_numbers_give_a_temperature_above_absolute_zero_or_none(ohms, a, b, c):
    for found in (steinhart_hart_celsius(ohms, a, b, c), steinhart_hart_ohms(ohms, a, b, c)):
        assert math.isnan(found) or found >= -273.15
    assert not math.isinf(steinhart_hart_celsius(ohms, a, b, c))


@pytest.mark.parametrize("celsius", [-273.15, -300.0, math.nan])
def test_nothing_is_colder_than_absolute_zero(celsius):
    assert math.isnan(steinhart_hart_ohms(celsius, *SHEET))
    assert math.isnan(beta_ohms(celsius, 3950.0, 1e5))


def test_an_equation_with_more_than_one_answer_has_none():
    assert math.isnan(steinhart_hart_ohms(25.0, 1e-3, -2e-4, 1e-7))
    assert math.isnan(steinhart_hart_ohms(25.0, 1e-3, 0.0, 0.0))


@pytest.mark.parametrize(
    ("points", "says"),
    [
        (((0.0, 1e4), (25.0, 2e4), (50.0, 3e4)), "falls as it warms"),
        (((0.0, 3e4), (0.0, 2e4), (50.0, 1e4)), "falls as it warms"),
        (((0.0, 3e4), (25.0, 3e4), (50.0, 1e4)), "falls as it warms"),
        (((0.0, 3e4), (25.0, 2e4), (50.0, 0.0)), "cannot be measured"),
        (((-300.0, 3e4), (25.0, 2e4), (50.0, 1e4)), "cannot be measured"),
        (((0.0, math.inf), (25.0, 2e4), (50.0, 1e4)), "cannot be measured"),
    ],
)
def test_points_that_no_ntc_gives_are_refused(points, says):
    with pytest.raises(SourceConfigError, match=says):
        coefficients(*points)


@given(st.floats(1.0, 1e6), st.floats(100.0, 1e6), st.floats(1.0, 1e6))
def test_a_divider_by_ohms_law(ohms, fixed, full):
    to_ground = full * ohms / (ohms + fixed)
    assert divider_ohms(to_ground, fixed, full) == pytest.approx(ohms, rel=1e-6)
    assert divider_ohms(full - to_ground, fixed, full, "supply") == pytest.approx(ohms, rel=1e-6)


@pytest.mark.parametrize("sensor_to", ["ground", "supply"])
@pytest.mark.parametrize("reading", [0.0, 1023.0, -1.0, 2000.0, math.nan, math.inf])
def test_a_reading_at_the_end_is_a_broken_or_shorted_sensor(reading, sensor_to):
    assert math.isnan(divider_ohms(reading, 1e4, 1023.0, sensor_to))
