"""What can be read by hand, and what cannot."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.model.meat.spots import Spot, spot_mistake


@pytest.mark.parametrize(
    ("spot", "word"),
    [
        (Spot("spot", "", 70.0), "where"),
        (Spot("spot", "x" * 61, 70.0), "where"),
        (Spot("spot", "flat", 700.0), "thermometer"),
        (Spot("spot", "flat", math.nan), "thermometer"),
        (Spot("bread", "flat side", 6.0), "from 1"),
        (Spot("bread", "flat side", math.nan), "from 1"),
        (Spot("spot", "flat", 70.0, math.nan, 0.1), "metres"),
        (Spot("spot", "flat", 70.0, 0.1, math.inf), "metres"),
    ],
)
def test_what_cannot_be_a_reading(spot, word):
    assert word in spot_mistake(spot)


@given(st.floats(-30, 400), st.none() | st.floats(-100, 100))
def test_what_can(celsius, place):
    assert spot_mistake(Spot("spot", "flat", celsius, place, place)) == ""
