import math

import numpy as np
import pytest

from collector.model.meat.stall import stall_of, wrap_gain_seconds
from collector.model.meat.track import Track


def track(celsius, air=115.0, wrapped=math.nan):
    celsius = np.asarray(celsius, dtype=np.float64)
    return Track(60.0 * np.arange(celsius.size), celsius, np.full(celsius.size, air), wrapped)


RISE = np.linspace(5.0, 67.0, 220)
PLATEAU = 67.0 + np.linspace(0.0, 4.0, 200)
AFTER = np.linspace(71.0, 95.0, 110)


def test_a_stall_is_found_with_its_onset_plateau_depth_and_end():
    stall = stall_of(track(np.r_[RISE, PLATEAU, AFTER]))
    assert stall.onset_seconds == pytest.approx(220 * 60.0, abs=20 * 60.0)
    assert stall.end_seconds == pytest.approx(420 * 60.0, abs=20 * 60.0)
    assert stall.celsius == pytest.approx(69.0, abs=0.7)
    assert stall.depth == pytest.approx(1.0 - (4.0 / 200) / (62.0 / 220), abs=0.05)
    assert 60.0 < stall.wet_bulb_celsius < 70.0


def test_while_it_lasts_it_has_no_end():
    stall = stall_of(track(np.r_[RISE, PLATEAU[:120]]))
    assert math.isnan(stall.end_seconds)
    assert stall.onset_seconds == pytest.approx(220 * 60.0, abs=20 * 60.0)


def test_its_end_does_not_move_once_it_is_told():
    whole = np.r_[RISE, PLATEAU, AFTER]
    ends = {stall_of(track(whole[:minute])).end_seconds for minute in range(490, whole.size, 10)}
    assert len(ends) == 1


@pytest.mark.parametrize("celsius", [RISE, np.linspace(5.0, 95.0, 330), RISE[:50], [np.nan] * 300])
def test_a_curve_that_goes_on_rising_has_none(celsius):
    assert stall_of(track(celsius)) is None


def test_slowing_down_close_to_the_air_is_no_stall():
    warm = 100.0 - 95.0 * np.exp(-np.arange(500) / 90.0)
    assert stall_of(track(warm, air=101.0)) is None


def test_without_air_there_is_no_wet_bulb():
    assert math.isnan(stall_of(track(np.r_[RISE, PLATEAU], air=math.nan)).wet_bulb_celsius)


def test_a_wrap_gains_time_in_the_stall_and_cannot_be_told_elsewhere():
    assert 600.0 < wrap_gain_seconds(track(np.r_[RISE, PLATEAU[:100]]), 95.0) < 6 * 3600.0
    assert math.isnan(wrap_gain_seconds(track(RISE[:100]), 95.0))
    assert math.isnan(wrap_gain_seconds(track(np.r_[RISE, PLATEAU], wrapped=15_000.0), 95.0))
    assert math.isnan(wrap_gain_seconds(track(RISE), math.nan))
    assert math.isnan(wrap_gain_seconds(track(RISE), 50.0))
