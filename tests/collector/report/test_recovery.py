"""How long the grate takes to come back, on curves whose answer is known."""

import math

import numpy as np

from collector.report.recovery import recoveries, usual_swing

T = np.arange(0.0, 7200.0, 10.0)


def fall(lost, seconds, opened=3000.0, level=110.0):
    """A grate that falls in two minutes and comes back in a straight line over so long."""
    down = opened + 120.0
    return np.interp(T, [0.0, opened, down, down + seconds], [level, level, level - lost, level])


def one(grate, *, openings=((3000.0, True),), swing=8.0, end=7190.0, target=math.inf):
    return recoveries(T, grate, openings, swing, end, target)[0]


def test_back_is_within_half_the_swing_of_what_was_found():
    found = one(fall(20.0, 1000.0))
    assert found.found_celsius == 110.0
    # the one-minute mean lags by half a minute: its least lies a little above and after the curve's
    assert 18.5 < found.lost_kelvin <= 20.0
    # 16 of 20 K are regained after 800 of 1000 s
    assert 780 <= found.recovery_seconds <= 850
    assert found.back_unix == found.deepest_unix + found.recovery_seconds
    assert found.why == ""


def test_an_opening_that_costs_less_than_half_the_swing_is_over_at_once():
    found = one(fall(3.0, 600.0))
    assert found.recovery_seconds == 0.0


def test_what_was_found_above_the_target_is_no_loss():
    grate = np.where(T < 3000.0, 130.0, np.where(T < 3600.0, 100.0, 113.0))
    assert one(grate).why == "the record ends first"
    assert one(grate, target=113.0).recovery_seconds is not None


def test_reasons_why_there_is_none():
    slow = fall(30.0, 20_000.0)
    assert one(slow).why == "the record ends first"
    assert one(slow, openings=((3000.0, True), (3600.0, True))).why == "opened again before it was back"
    assert one(slow, swing=math.nan).why == "there is no usual swing to go by"
    nothing = np.full(T.shape, np.nan)
    assert one(nothing).why == "the grate before it is not known"
    gone = fall(20.0, 1000.0)
    gone[T >= 3000.0] = np.nan
    assert one(gone).why == "the grate after it is not known"


def test_not_back_within_three_hours():
    t = np.arange(0.0, 20_000.0, 10.0)
    grate = np.where(t < 3000.0, 110.0, 80.0)
    (found,) = recoveries(t, grate, [(3000.0, True)], 8.0, 19_990.0)
    assert found.why == "not back within three hours"
    assert found.recovery_seconds is None


def test_the_usual_swing_is_that_of_half_hours():
    saw = 110.0 + 6.0 * np.abs((T % 1200.0) / 600.0 - 1.0)
    assert abs(usual_swing(T, saw) - 6.0) < 0.2
    assert usual_swing(T, np.full(T.shape, 110.0)) == 2.0, "a swing of nothing would never be come back to"
    assert math.isnan(usual_swing(T, np.full(T.shape, np.nan)))
    assert math.isnan(usual_swing(np.zeros(0), np.zeros(0)))
