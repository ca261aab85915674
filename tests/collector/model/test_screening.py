"""Whether a reading is believed, from the probe's own past."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.reading import Quality, Reading, Reason
from collector.model.screening import ProbeScreen


def judge(values, step=4.0, sources=None):
    screen = ProbeScreen(-40, 400)
    out = []
    for k, value in enumerate(values):
        source = None if sources is None else sources[k]
        out.append(screen.judge(Reading("s", "k", value, 1000 + k * step, source))[1])
    return out


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (850.0, Reason.OPEN_OR_SHORT),  # a broken lead: the end of the IEC 60751 table
        (-200.0, Reason.OPEN_OR_SHORT),  # a shorted one: its other end
        (450.0, Reason.OUT_OF_RANGE),
        (-45.0, Reason.OUT_OF_RANGE),
        (math.nan, Reason.NOT_A_NUMBER),
    ],
)
def test_what_no_pit_gives(value, reason):
    assert judge([110.0, value, 110.0]) == [Reason.NONE, reason, Reason.NONE]


def test_one_value_that_stands_alone_is_a_spike():
    assert judge([110, 110.2, 140, 110.1, 110]) == [Reason.NONE, Reason.NONE, Reason.SPIKE, Reason.NONE, Reason.NONE]


def test_two_that_agree_are_the_truth():
    assert judge([110] * 7 + [60, 60.5, 60.2])[-3:] == [Reason.SPIKE, Reason.NONE, Reason.NONE]


def test_a_lid_is_no_spike():
    falling = [110 - 2.2 * 4 * k for k in range(8)]
    assert set(judge([110] * 7 + falling)) == {Reason.NONE}


def screened(lags, step=10.0, received=None):
    """Screen readings that came some seconds after the time that their sender gave them."""
    screen = ProbeScreen(-40, 400)
    times = received or [1e6 + k * step for k in range(len(lags))]
    return [screen.judge(Reading("s", "k", 110.0, t, t - lag)) for t, lag in zip(times, lags, strict=True)]


GOOD = Quality.GOOD, Reason.NONE
AHEAD = Quality.GOOD, Reason.CLOCK_FUTURE
BEHIND = Quality.GOOD, Reason.CLOCK_PAST
LATE = Quality.UNCERTAIN, Reason.CLOCK_PAST


def test_the_probes_own_clock():
    assert judge([110] * 5, sources=[1000, 1003, 1003, 1001, 1100]) == [
        Reason.NONE, Reason.NONE, Reason.DUPLICATE, Reason.OUT_OF_ORDER, Reason.CLOCK_FUTURE,
    ]  # fmt: skip
    assert judge([110] * 2, sources=[1000, 500]) == [Reason.NONE, Reason.CLOCK_PAST]


@pytest.mark.parametrize("ahead", [6.0, 3600.0, 3e8])
def test_what_a_gateway_dates_ahead_of_us_is_used_by_the_time_it_came_and_said(ahead):
    assert screened([-ahead] * 20) == [AHEAD] * 20


def test_a_gateway_one_hour_behind_is_used_once_its_lag_has_shown_to_be_the_same():
    assert screened([3600.0, 3600.4, 3599.8, *[3600.0] * 10]) == [*[LATE] * 3, *[BEHIND] * 10]
    every_second = screened([3600.0] * 60, step=1.0)
    assert every_second == [*[LATE] * 30, *[BEHIND] * 30]


@pytest.mark.parametrize("period", [1.0, 2.0, 5.0])
def test_a_queue_that_a_broker_kept_is_not_the_present_however_close_its_values_lie(period):
    """Ten minutes of readings, kept while the link was away, arrive within two seconds: all lag by about the same."""
    count = round(600 / period)
    received = [1e6 + 2.0 * k / count for k in range(count)]
    lags = [received[k] - (1e6 - 1200.0 + period * k) for k in range(count)]
    assert set(screened(lags, received=received)) == {LATE}


def test_a_gateway_that_sets_its_clock_back_a_little_is_used_again_within_half_a_minute():
    lags = [1.0] * 30 + [101.0] * 120
    found = screened(lags, step=1.0)
    assert found[70:] == [GOOD] * 80


def test_a_backlog_sent_late_is_never_taken_for_the_present():
    """A minute's value each, of half an hour without a link, all in three seconds: each is a minute younger."""
    lags = [1800.0 - 60.0 * k for k in range(27)]
    assert set(screened(lags, step=0.1)) == {LATE}


def test_a_gateway_whose_clock_leaps_an_hour_ahead_and_back_is_never_without_a_value():
    lags = [1.0] * 5 + [-3600.0] * 5 + [1.0] * 5
    assert screened(lags) == [GOOD] * 5 + [AHEAD] * 5 + [GOOD] * 5


def test_late_and_repeated_values_of_a_gateway_with_a_wrong_clock_are_seen_too():
    received = [1e6, 1e6 + 10, 1e6 + 20, 1e6 + 21, 1e6 + 22]
    lags = [-3600.0, -3600.0, -3600.0, -3599.0, -3588.0]
    assert screened(lags, received=received)[-2:] == [
        (Quality.UNCERTAIN, Reason.DUPLICATE), (Quality.UNCERTAIN, Reason.OUT_OF_ORDER),
    ]  # fmt: skip


def test_what_came_in_marked_stays_marked():
    screen = ProbeScreen(-40, 400)
    known = Reading("s", "k", 110.0, 0.0, quality=Quality.UNCERTAIN, reason=Reason.LAST_KNOWN)
    assert screen.judge(known) == (Quality.UNCERTAIN, Reason.LAST_KNOWN)


@given(st.lists(st.floats(-300, 1200) | st.just(math.nan), max_size=60), st.floats(0.1, 300))
def test_never_a_good_value_outside_the_range_and_never_an_error(values, step):
    for value, reason in zip(values, judge(values, step), strict=True):
        if reason is Reason.NONE:
            assert -40 <= value <= 400


def test_in_a_calm_chamber_a_smaller_jump_is_a_spike():
    for calm, reason in ((True, Reason.SPIKE), (False, Reason.NONE)):
        screen = ProbeScreen(-40, 400)
        for k in range(7):
            screen.judge(Reading("s", "k", 110.0, 1000 + 10 * k), calm=calm)
        assert screen.judge(Reading("s", "k", 92.0, 1070), calm=calm)[1] is reason
        assert screen.judge(Reading("s", "k", 91.0, 1080), calm=calm)[1] is Reason.NONE  # two that agree


@pytest.mark.parametrize(
    "value",
    [
        0.0,  # common practice, no source: zero in either unit, and 999.9
        (0.0 - 32.0) / 1.8,
        (999.9 - 32.0) / 1.8,
        -40.0,
        85.0,  # DS18B20 data sheet, "power-on reset value"
    ],
)
def test_what_stands_in_for_a_value_is_told_at_once_for_as_long_as_it_is_sent_and_no_longer(value):
    found = screen_wide([110.2, 110.0, 110.1, *[value] * 200, 109.8, 109.9])
    assert found[:3] == [Reason.NONE] * 3
    assert set(found[3:-2]) <= {Reason.OPEN_OR_SHORT}
    assert found[-2:] == [Reason.NONE] * 2, "believed again at once"


@pytest.mark.parametrize("value", [0.0, 85.0, -17.8])
def test_the_same_value_reached_step_by_step_is_the_truth(value):
    way = [value + 4.0 - 0.5 * k for k in range(16)]
    assert set(screen_wide(way)) == {Reason.NONE}


def screen_wide(values):
    screen = ProbeScreen(-50, 545)
    return [screen.judge(Reading("s", "k", value, 1000 + k * 10.0), calm=True)[1] for k, value in enumerate(values)]
