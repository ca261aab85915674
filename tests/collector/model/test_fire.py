"""Lid, refuels, phase and drift on curves whose truth is known by construction."""

import math

import numpy as np
import pytest

from collector.model.fire import FireWatch
from collector.snapshot import Phase

STEP = 5.0


def follow(curve, low=99.0, high=127.0):
    """Feed a curve; return the watch, the marks and each look's (phase, outside)."""
    watch = FireWatch(low, high, STEP)
    marks, looks = [], []
    for k, celsius in enumerate(curve):
        past = curve[max(0, k - 11) : k + 1]
        fall = float(np.max(past) - celsius)
        marks += watch.look(k * STEP, float(celsius), fall, fall)
        if k % 6 == 0:
            watch.look_at_slope()
        looks.append((watch.phase, watch.outside_kelvin()[0]))
    return watch, marks, looks


def night(hours=8, period=2400.0, swing=8.0, level=113.0):
    """Warm-up of 50 min, then a saw-tooth: up in a third of the period, down in the rest."""
    t = np.arange(0, hours * 3600, STEP)
    phase = (t % period) / period
    saw = np.where(phase < 1 / 3, phase * 3, (1 - phase) * 1.5) - 0.5
    warm = np.clip(t / 3000, 0, 1)
    rng = np.random.default_rng(5)
    return t, 15 + (level - 15) * warm + swing * saw * (warm >= 1) + rng.normal(0, 0.15, t.size)


def test_phases_of_a_night():
    _t, curve = night()
    _, marks, looks = follow(curve)
    phases = [p for p, _ in looks]
    assert phases[0] is Phase.COLD
    assert phases[int(2000 / STEP)] is Phase.WARMING
    assert set(phases[int(6000 / STEP) :]) == {Phase.STEADY}
    assert not [m for m in marks if m.kind == "seen-lid"]


def test_refuels_are_seen_once_each_at_their_turn():
    t, curve = night()
    watch, marks, _ = follow(curve)
    seen = [m.time_unix for m in marks if m.kind == "seen-refuel"]
    true = [k for k in np.arange(2400, t[-1] - 900, 2400) if k > 6600]
    assert len(seen) in (len(true), len(true) + 1)
    assert all(min(abs(k - s) for s in seen) < 200 for k in true)
    assert watch.rhythm.period_seconds == pytest.approx(2400, rel=0.1)


def test_a_lid_opening_is_seen_and_raises_nothing():
    t, curve = night()
    at = 14_400
    after = np.clip(t - at, 0, None)
    dip = np.where(after > 0, 22 * np.exp(-after / 700) * np.clip(after / 60, 0, 1), 0)
    _, marks, looks = follow(curve - dip)
    lids = [m.time_unix for m in marks if m.kind == "seen-lid"]
    assert len(lids) == 1
    assert at <= lids[0] <= at + 60
    assert looks[int((at + 100) / STEP)][0] is Phase.LID_OPEN
    assert max(o for _, o in looks[int(7000 / STEP) :] if not math.isnan(o)) < 6.0


def test_a_dying_fire_is_outside_its_saw_tooth_before_fifteen_kelvin_are_lost():
    t, curve = night()
    dies = 18_000
    lost = np.where(t > dies, 60 * (1 - np.exp(-(t - dies) / 5400)), 0)
    quiet = 113.0 - lost
    curve = np.where(t > dies, quiet, curve)
    _, _, looks = follow(curve)
    calls = [k * STEP for k, (_, o) in enumerate(looks) if not math.isnan(o) and o > 6.0]
    fifteen = t[np.argmax(lost > 15)]
    assert dies < calls[0] < fifteen


def test_slow_fall_has_a_slope_whose_interval_holds_it():
    t, curve = night(hours=9)
    fall = np.where(t > 6000, -(t - 6000) / 3600 * 1.5, 0)
    watch, _, _ = follow(curve + fall)
    assert watch.slope_low <= -1.5 <= watch.slope_high
    assert watch.slope_kelvin_per_hour == pytest.approx(-1.5, abs=2.0)


def test_nothing_heard_is_nothing_claimed():
    watch, marks, looks = follow([math.nan] * 500)
    assert marks == []
    assert {p for p, _ in looks} == {Phase.UNKNOWN}
    assert math.isnan(watch.level_celsius)
    assert math.isnan(watch.minutes_to_limit())


def test_a_fire_that_dies_in_the_first_hour_is_told_though_there_is_no_saw_tooth_yet():
    t = np.arange(0, 3 * 3600, STEP)
    lit = np.clip(15 + 98 * t / 3000, None, 113)
    curve = np.where(t > 4200, 113 - 60 * (1 - np.exp(-(t - 4200) / 3600)), lit)
    _, _, looks = follow(curve)
    calls = [k * STEP for k, (_, o) in enumerate(looks) if not math.isnan(o) and o > 6.0]
    assert 4200 < calls[0] < 4200 + 3600
