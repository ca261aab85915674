import math
from datetime import UTC
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from collector.snapshot import AlarmState
from tui.draw.view import View
from tui.draw.words import STATE_WORDS, age, alarm_sentence, arrow, clock, difference, number, slope, temperature

C, F = View(), View(fahrenheit=True)


def test_a_temperature_is_converted_with_its_offset_and_a_difference_without():
    assert temperature(100.0, F) == "212 °F"
    assert difference(100.0, F) == "+180"
    assert slope(-10.0, F) == "-18 °F/h"


@given(st.floats(-50, 400), st.floats(-50, 400))
def test_the_difference_of_two_temperatures_is_the_difference_shown(a, b):
    shown = float(difference(a - b, F))
    assert shown == pytest.approx((a * 1.8 + 32) - (b * 1.8 + 32), abs=0.51)


def test_what_is_not_known_is_never_a_number():
    assert number(math.nan, C) == "--"
    assert difference(math.nan, F) == "--"
    assert age(math.inf) == "--"
    assert arrow(math.nan, C).strip() == ""


def test_a_difference_that_rounds_to_nothing_carries_no_sign():
    assert difference(-0.4, C) == "0"


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0, "0 s"), (12.9, "12 s"), (60, "1 min"), (3599, "59 min"), (3900, "1 h 05"), (90000, "25 h 00"), (-3, "0 s")],
)
def test_ages(seconds, said):
    assert age(seconds) == said


def test_clock_time_is_local():
    assert clock(1_700_000_000.0, View(zone=UTC)) == "22:13"
    assert clock(1_700_000_000.0, View(zone=ZoneInfo("Asia/Kolkata"))) == "03:43"


@given(st.floats(-1000, 1000), st.floats(-1000, 1000))
def test_arrows_keep_the_order_of_slopes_and_are_two_cells_wide(a, b):
    order = ["⇊", "↘", "→", "↗", "⇈"]
    low, high = sorted((a, b))
    assert order.index(arrow(low, C).strip()) <= order.index(arrow(high, C).strip())
    assert len(arrow(a, C)) == len(arrow(a, View(ascii_only=True))) == 2


def test_an_alarm_says_what_stands_before_what_to_do(alarm):
    said = alarm_sentence(alarm("cold-spot/stack end"), C)
    assert said == "stack end is cold, 99 °C (limit 107 °C); look at the fire and the lid"
    kelvin = alarm("spread/grate", value=30.0, limit=20.0, unit="kelvin", message="the grate is uneven")
    assert alarm_sentence(kelvin, F) == "the grate is uneven, 54 °F from hottest to coldest (limit 36 °F)"
    unknown = alarm("spread/grate", value=math.nan, message="the grate is uneven: look")
    assert alarm_sentence(unknown, C) == "the grate is uneven: look"
    never = alarm("silent-probe/door", value=math.inf, limit=60.0, unit="seconds", message="door was never heard")
    assert alarm_sentence(never, C) == "door was never heard"
    lying = alarm("probe-lying/flat", value=300.0, limit=5.0, unit="seconds", message="flat is stuck")
    assert alarm_sentence(lying, C) == "flat is stuck, for 5 min", "a limit of seconds says nothing to a cook"
    over = replace(lying, value=0.0, active=False, message="flat is believed again")
    assert alarm_sentence(over, C) == "flat is believed again"


def test_every_alarm_state_has_words():
    assert set(STATE_WORDS) == set(AlarmState)
