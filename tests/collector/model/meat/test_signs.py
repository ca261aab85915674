import math

import numpy as np
import pytest

from collector.model.meat.signs import columns, curve_by_minute, signs_of
from collector.model.meat.track import Track


def track(celsius, air=115.0, **more):
    celsius = np.asarray(celsius, dtype=np.float64)
    return Track(60.0 * np.arange(celsius.size), celsius, np.full(celsius.size, air), **more)


def rising(minutes=200, start=5.0, kelvin_per_hour=18.0):
    return start + kelvin_per_hour / 60.0 * np.arange(minutes)


def test_a_straight_curve_gives_its_slope_at_every_window():
    signs = signs_of(track(rising()))
    assert signs.slopes == pytest.approx([18.0] * 4)
    assert signs.celsius == pytest.approx(5.0 + 18.0 * 199 / 60)
    assert signs.fastest == pytest.approx(18.0)


def test_spikes_and_silence_leave_the_signs_where_they_were():
    clean = rising()
    spoilt = clean.copy()
    spoilt[[40, 90, 150]] += [60.0, -80.0, 300.0]
    spoilt[100:125] = np.nan
    a, b = signs_of(track(clean)), signs_of(track(spoilt))
    assert b.slopes == pytest.approx(a.slopes, abs=0.2)
    assert b.celsius == pytest.approx(a.celsius, abs=0.1)
    assert b.since == pytest.approx(a.since, abs=0.05)


def test_gaps_are_bridged_and_minutes_that_were_never_sent_too():
    full = track(rising(60))
    kept = np.r_[0:20, 31:60]
    torn = Track(full.seconds[kept], full.celsius[kept], full.air_celsius[kept])
    tip, air = curve_by_minute(torn)
    assert tip == pytest.approx(full.celsius)
    assert air == pytest.approx(115.0)


@pytest.mark.parametrize("celsius", [[], [np.nan] * 100, rising(15), np.r_[rising(100), [np.nan] * 40]])
def test_too_short_or_too_long_unheard_gives_none(celsius):
    assert signs_of(track(celsius)) is None


def test_the_hours_since_a_temperature_count_from_its_first_time():
    hump = np.r_[np.linspace(5.0, 60.0, 100), np.linspace(60.0, 52.0, 60), np.linspace(52.0, 66.0, 60)]
    signs = signs_of(track(hump))
    passed_57 = np.argmax(hump >= 57.0)
    assert signs.since[4] == pytest.approx((hump.size - passed_57) / 60.0, abs=0.05)
    assert signs.since[-1] == 0.0


def test_a_wrap_is_read_where_it_was():
    signs = signs_of(track(rising(), wrapped_seconds=100 * 60.0))
    assert signs.wrapped_hours == pytest.approx(99.0 / 60.0)
    assert signs.wrapped_celsius == pytest.approx(35.0, abs=0.2)
    assert signs.wrapped_slope == pytest.approx(18.0)


def test_a_stall_is_seen_when_it_slows_down_or_was_wrapped_or_is_past():
    stalled = np.r_[rising(200), np.full(90, 65.0)]
    assert not signs_of(track(rising(190))).stall_seen
    assert signs_of(track(stalled)).stall_seen
    assert signs_of(track(rising(190), wrapped_seconds=180 * 60.0)).stall_seen
    assert signs_of(track(rising(260))).stall_seen


def test_columns_are_finite_and_small_whatever_comes():
    odd = [
        track(rising(), air=math.nan), track(rising(), air=20.0), track(rising(300, 80.0, -6.0)),
        track(rising(200, 5.0, 600.0) % 90), track(np.full(2000, 60.0), mass_kg=0.1), track(rising(), mass_kg=400.0),
        track(rising(), wrapped_seconds=1e9), track(rising(), wrapped_seconds=-1e6),
    ]  # fmt: skip
    for one in odd:
        signs = signs_of(one)
        targets = signs.celsius + np.array([0.0, 0.01, 5.0, 40.0])
        for wrap_at in (math.nan, math.inf, 70.0, -40.0):
            laid = columns(signs, targets, wrap_at, np.array([math.nan, 95.0, 180.0, 20.0]))
            assert np.isfinite(laid).all()
            assert np.abs(laid).max() < 6.0
