"""The draught of a stack against a published worked example, and against its own limits."""

import math

import pytest
from msgspec.structs import replace

from collector.model.draught import Stack, draught_pascal, flow_cubic_metres_per_second, flow_ratio, wind_pascal

INCH_OF_WATER_PASCAL = 249.089
"""At 4 °C; NIST SP 811, appendix B."""
FOOT = 0.3048


def celsius(fahrenheit):
    return (fahrenheit - 32.0) / 1.8


@pytest.mark.parametrize(("psia", "printed"), [(14.7, 0.67), (10.0, 0.45)])
def test_the_worked_example_of_steam(psia, printed):
    """Babcock & Wilcox, *Steam: Its Generation and Use*: a stack of 100 ft, 60 °F outside, 500 °F inside."""
    stack = Stack(100 * FOOT, 0.1, celsius(500), celsius(60), psia * 6894.757)
    assert draught_pascal(stack) / INCH_OF_WATER_PASCAL == pytest.approx(printed, abs=0.008)


PIT = Stack(0.9, 0.15, celsius(250), celsius(70))


def test_a_lower_stack_draws_less_in_proportion():
    lower = replace(PIT, height_m=0.6)
    assert draught_pascal(lower) / draught_pascal(PIT) == pytest.approx(2 / 3)
    assert flow_ratio(PIT, lower, 1.0) == pytest.approx(math.sqrt(2 / 3))
    assert flow_ratio(PIT, lower, 0.3) == pytest.approx(math.sqrt(2 / 3)), "of one width it holds back as before"


def test_a_wider_stack_helps_as_far_as_it_is_the_stack_that_holds_back():
    wider = replace(PIT, diameter_m=0.2)
    assert flow_ratio(PIT, wider, 0.0) == pytest.approx(1.0)
    assert flow_ratio(PIT, wider, 1.0) == pytest.approx((0.2 / 0.15) ** 2)
    assert 1.0 < flow_ratio(PIT, wider, 0.4) < (0.2 / 0.15) ** 2


def test_the_flow_is_of_the_size_of_a_pit():
    """A stack of 6 in over a chamber at 250 °F passes some tens of litres a second (common practice, no source)."""
    assert 0.01 < flow_cubic_metres_per_second(PIT) < 0.1


def test_nothing_is_drawn_where_it_is_as_hot_outside():
    cold = replace(PIT, flue_celsius=10.0, outside_celsius=20.0)
    assert draught_pascal(cold) < 0.0
    assert flow_cubic_metres_per_second(cold) == 0.0
    assert math.isnan(flow_ratio(cold, PIT, 0.5))


def test_a_breeze_is_as_strong_as_the_stack():
    """The dynamic pressure of air of 1.225 kg/m³ (ICAO, sea level, 15 °C) at 2 m/s is 2.45 Pa."""
    assert wind_pascal(2.0, 15.0) == pytest.approx(0.5 * 1.225 * 4.0, rel=1e-3)
    assert wind_pascal(2.0, 15.0) > 0.8 * draught_pascal(PIT)
