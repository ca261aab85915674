"""Lid, refuels, phase and drift on curves whose truth is known by construction."""

import math

import numpy as np
import pytest
from hypothesis import Phase as Stage
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes

from collector.model.fire import FireWatch
from collector.snapshot import Phase

STEP = 5.0


def follow(curve, low=99.0, high=127.0, every=1):
    """Feed a curve; return the watch, the marks and, at every n-th look, (phase, kelvin below the band)."""
    watch = FireWatch(low, high, STEP)
    marks, looks = [], []
    for k, celsius in enumerate(curve):
        past = curve[max(0, k - 11) : k + 1]
        fall = float(np.max(past) - celsius)
        marks += watch.look(k * STEP, float(celsius), fall, fall)
        if k % 6 == 0:
            watch.look_at_slope()
        if k % every == 0:
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


@pytest.fixture(scope="module")
def followed():
    """Play an even night once for all that only look at it."""
    return follow(night()[1])


def test_phases_of_a_night(followed):
    _, marks, looks = followed
    phases = [p for p, _ in looks]
    assert phases[0] is Phase.COLD
    assert phases[int(2000 / STEP)] is Phase.WARMING
    assert set(phases[int(6000 / STEP) :]) == {Phase.STEADY}
    assert not [m for m in marks if m.kind == "seen-lid"]


def test_refuels_are_seen_once_each_at_their_turn(followed):
    t, _ = night()
    watch, marks, _ = followed
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


def test_a_dying_fire_is_below_its_band_soon_before_it_is_there():
    t, curve = night()
    dies = 18_000
    lost = np.where(t > dies, 60 * (1 - np.exp(-(t - dies) / 5400)), 0)
    curve = np.where(t > dies, 113.0 - lost, curve)
    _, _, looks = follow(curve)
    called = next(at for at, (_, below) in zip(t, looks, strict=True) if at > dies and below > 0.0)
    assert dies < called < t[np.argmax((t > dies) & (curve < 99.0))] + 480.0, "by the mean of 15 min at the latest"


def test_slow_fall_has_a_slope_whose_interval_holds_it():
    t, curve = night(hours=9)
    fall = np.where(t > 6000, -(t - 6000) / 3600 * 1.5, 0)
    watch, _, _ = follow(curve + fall, every=len(curve))
    assert watch.drift.slope_low <= -1.5 <= watch.drift.slope_high
    assert watch.drift.slope_kelvin_per_hour == pytest.approx(-1.5, abs=2.0)


def test_nothing_heard_is_nothing_claimed():
    watch, marks, looks = follow([math.nan] * 500)
    assert marks == []
    assert {p for p, _ in looks} == {Phase.UNKNOWN}
    assert math.isnan(watch.level_celsius)
    assert math.isnan(watch.to_limit()[0])


def test_a_fire_that_dies_in_the_first_hour_is_told_though_there_is_no_saw_tooth_yet():
    t = np.arange(0, 3 * 3600, STEP)
    lit = np.clip(15 + 98 * t / 3000, None, 113)
    curve = np.where(t > 4200, 113 - 60 * (1 - np.exp(-(t - 4200) / 3600)), lit)
    _, _, looks = follow(curve)
    calls = [k * STEP for k, (_, o) in enumerate(looks) if not math.isnan(o) and o > 0.0]
    assert 4200 < calls[0] < 4200 + 3600


def test_a_fire_that_dies_in_the_first_half_hour_of_its_evenness_is_held_against_the_band():
    t = np.arange(0, 2.5 * 3600, STEP)
    lit = np.clip(15 + 98 * t / 3000, None, 113)
    dies = 6300.0
    curve = np.where(t > dies, 113 - 90 * (1 - np.exp(-(t - dies) / 3600)), lit)
    _, _, looks = follow(curve)
    below = t[np.argmax((t > dies) & (curve < 99.0))]
    told = t[np.argmax([t_ > dies and o > 0.0 for t_, (_, o) in zip(t, looks, strict=True)])]
    assert dies < told < below + 600.0


def warm_up(peak, rise_minutes, then, hours=2.2):
    """Rise to a peak, then go the way of `then`, of the seconds since; noise of a probe on top."""
    t = np.arange(0, hours * 3600, STEP)
    up = 60.0 * rise_minutes
    curve = np.where(t < up, 15 + (peak - 15) * t / up, then(np.maximum(0.0, t - up)))
    return curve + np.random.default_rng(3).normal(0, 0.15, t.size)


def longest_seconds(outside):
    """Give how long the level stood outside at a stretch; below what the alarm waits for, nobody is called."""
    runs = "".join("x" if one else " " for one in outside).split()
    return STEP * max(map(len, runs), default=0)


@settings(max_examples=15, deadline=None)
@given(st.floats(62.0, 97.0), st.floats(15.0, 60.0), st.floats(25.0, 120.0))
def test_a_fire_that_goes_out_before_the_pit_was_hot_is_told(peak, rise_minutes, tau_minutes):
    """It cools as a body does (Newton): as soon as it lost 15 K and some minutes more, however cold it is by then."""
    curve = warm_up(peak, rise_minutes, lambda s: 15 + (peak - 15) * np.exp(-s / (60.0 * tau_minutes)))
    watch, _, looks = follow(curve)
    told = next(k * STEP for k, (_, outside) in enumerate(looks) if outside > 0) - 60.0 * rise_minutes
    lost_seconds = -60.0 * tau_minutes * math.log(1.0 - 15.0 / (peak - 15.0))
    assert 0 < told <= lost_seconds + 600.0 + 90.0
    assert watch.reached_unix is not None, "so the alarm is not suppressed"


@pytest.mark.parametrize("minutes", [2, 5, 10, 15])
@pytest.mark.parametrize("peak", [80.0, 95.0])
def test_meat_put_on_while_the_pit_warms_up_is_no_fire_that_goes_out(peak, minutes):
    """The open lid takes 45 K, cold meat gives it back slowly (common practice, no source)."""

    def opened(s):
        shut = np.maximum(0.0, s - 60.0 * minutes)
        lost = 45.0 * (1.0 - np.exp(-np.minimum(s, 60.0 * minutes) / 120.0)) * np.exp(-shut / 900.0)
        return np.minimum(113.0, peak + shut / 60.0) - lost

    watch, marks, looks = follow(warm_up(peak, 30.0, opened))
    assert any(m.kind == "seen-lid" for m in marks)
    assert longest_seconds(outside > 0 for _, outside in looks) < 150.0, "but for a moment as the band is reached"
    assert looks[-1][0] is Phase.STEADY
    assert not watch.sinking


def test_splits_told_while_the_fire_sinks_follow_no_rhythm():
    watch, _, _ = follow(warm_up(85.0, 30.0, lambda s: 15 + 70 * np.exp(-s / 2400.0), hours=1.5))
    assert watch.going_out
    watch.tell("split", 5000.0)
    assert watch.rhythm.count == 0


def test_the_way_to_the_limit_is_told_by_the_last_minutes_once_no_saw_tooth_turns_it():
    """Four hours of an even saw-tooth, then 30 K an hour down: the line through 90 minutes hardly falls yet."""
    t, curve = night(hours=5, swing=6.0)
    dies = 4 * 3600.0 + 800.0  # from a crest
    fallen = np.where(t > dies, curve - 30.0 * (t - dies) / 3600.0, curve)[t < dies + 960]
    watch, _, _ = follow(fallen)
    minutes, side = watch.to_limit()
    assert side == "low"
    level = watch.level_celsius
    assert minutes == pytest.approx(60.0 * (level - 99.0) / 43.0, rel=0.3)


def random_night(period, swing, up, late, seed, *, hours, kelvin_an_hour=0.0, fades_from=math.inf):
    """Warm-up, then splits a period apart, each early or late by a share of it; fading from a time on, level and all.

    Returns:
        Time of each look, the level, and what the fading took, kelvin.
    """
    rng = np.random.default_rng(seed)
    t = np.arange(0, hours * 3600, STEP)
    laid = 3000 + np.cumsum(np.append(0.0, period * (1 + rng.uniform(-late, late, int(t[-1] / period) + 4))))
    which = np.clip(np.searchsorted(laid, t, side="right") - 1, 0, laid.size - 2)
    phase = np.clip((t - laid[which]) / np.diff(laid)[which], 0, 1)
    saw = np.where(phase < up, phase / up, (1 - phase) / (1 - up)) - 0.5
    lost = kelvin_an_hour * np.clip(t - fades_from, 0, None) / 3600
    level = 15 + 98 * np.clip(t / 3000, 0, 1) + swing * saw * np.clip((t - 3000) / 600, 0, 1)
    return t, level + rng.normal(0, 0.15, t.size) - lost, lost


SAW_TEETH = {
    "period": st.floats(1500, 4500), "swing": st.floats(2, 14), "up": st.floats(0.25, 0.5),
    "late": st.floats(0, 0.15), "seed": st.integers(0, 2**32 - 1),
}  # fmt: skip
FEW = settings(max_examples=6, deadline=None, derandomize=True, phases=[Stage.generate])
EVERY = 6


@FEW
@given(**SAW_TEETH)
def test_a_steady_saw_tooth_is_inside_its_band(period, swing, up, late, seed):
    """The band of ±14 K is wider than half of any swing here, and no slope of 90 minutes takes it out of it."""
    t, curve, _ = random_night(period, swing, up, late, seed, hours=8)
    watch, marks, looks = follow(curve, every=EVERY)
    below = np.array([o for _, o in looks])[t[::EVERY] > 6600]
    assert np.isfinite(below).mean() > 0.95
    assert np.nanmax(below) < -2.0
    assert watch.lid.openings == 0
    assert not [m for m in marks if m.kind == "seen-stall"]


@FEW
@given(kelvin_an_hour=st.floats(8, 40), **SAW_TEETH)
def test_a_fading_saw_tooth_is_called_as_its_level_leaves_the_band(period, swing, up, late, seed, kelvin_an_hour):
    """14 K to the edge of the band and, for the mean of 15 min, half of that time; troughs come to it sooner."""
    fades = 18_000.0
    t, curve, lost = random_night(
        period, swing, up, late, seed, hours=5 + 22 / kelvin_an_hour, kelvin_an_hour=kelvin_an_hour, fades_from=fades
    )
    _, _, looks = follow(curve, every=EVERY)
    called = np.flatnonzero(np.array([o for _, o in looks]) > 0.0)
    assert called.size
    assert fades < t[::EVERY][called[0]]
    assert lost[::EVERY][called[0]] < 14.0 + kelvin_an_hour / 8 + 0.5 * swing


def slopes(curve, every_seconds):
    """Return the low end, estimate and high end of the slope at a fixed interval, kelvin an hour."""
    watch, found = FireWatch(99.0, 127.0, STEP), []
    for k, celsius in enumerate(curve):
        watch.look(k * STEP, float(celsius), 0.0, 0.0)
        if k % int(every_seconds / STEP) == 0:
            watch.look_at_slope()
            drift = watch.drift
            found.append((drift.slope_low, drift.slope_kelvin_per_hour, drift.slope_high))
    return found


def test_the_slopes_interval_is_that_of_a_line_through_half_cycles():
    """By hand, an even triangle of 8 K every 40 min, looked at over 90 min.

    Its residuals lie even between -4 and 4 K: their median deviation is 2 K, 1.4826 times that is 2.97 K. Half cycles
    of 20 min make 4.5 points. The standard error of a slope through n even points over a time T is
    sd x sqrt(12 / n) / T (ordinary least squares): 2.97 x 1.633 / 1.5 h = 3.23 K an hour, so 1.96 of it each way is
    6.3 K an hour. Twice the swing makes it twice as wide. Over 60 min there are 3 points, and it is
    sqrt(4.5 / 3) = 1.22 times as wide; but for what a cycle and a half does to the residuals.
    """
    low, slope, high = slopes(night(hours=5)[1], 600.0)[-1]
    assert high - slope == pytest.approx(6.3, rel=0.12)
    assert slope - low == pytest.approx(high - slope)
    low, _, high = slopes(night(hours=5, swing=16.0)[1], 600.0)[-1]
    assert high - low == pytest.approx(4 * 6.3, rel=0.12)
    low, _, high = slopes(night(hours=6, period=3600.0)[1], 600.0)[-1]
    assert high - low == pytest.approx(2 * 1.22 * 6.3, rel=0.2)
    t, curve = night(hours=5)
    low, _, high = slopes(curve - 10.0 * np.clip(t - 9000, 0, None) / 3600.0, 600.0)[-1]
    assert high - low == pytest.approx(2 * 6.3, rel=0.12), "what falls along the line is no residual"


@pytest.mark.parametrize("fall", [0.0, 2.0, -2.0])
def test_the_slopes_interval_covers_the_true_slope_and_is_no_wider_than_need_be(fall):
    """Over random saw-tooths: it covers at least 19 times of 20.

    How wide: within a half of Sen's interval (scipy) through as many independent points as there are half cycles in 90
    minutes, whose residuals lie as the saw-tooth's do.
    """
    rng = np.random.default_rng(7)
    inside, width, independent = [], [], []
    for seed in range(3):
        period, swing = rng.uniform(1800, 3000), rng.uniform(4, 12)
        _, curve, _ = random_night(period, swing, 0.35, 0.1, seed, hours=5, kelvin_an_hour=fall, fades_from=6600.0)
        for low, _, high in slopes(curve, 120.0)[-50:]:  # from 90 min of the fall on
            inside.append(low <= -fall <= high)
            width.append(high - low)
        hours = np.arange(round(5400.0 / (0.5 * period))) * 0.5 * period / 3600.0
        for _ in range(40):
            low, high = theilslopes(rng.uniform(-0.5, 0.5, hours.size) * swing, hours)[2:]
            independent.append(high - low)
    assert np.mean(inside) >= 0.95
    assert 0.5 < np.median(width) / np.median(independent) < 1.5
