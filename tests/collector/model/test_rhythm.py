"""The habit of the cook's splits, read from saw-teeth of random period and swing."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.model.rhythm import JOIN_SECONDS, Rhythm

STEP = 5.0
BOUNDED = settings(max_examples=25, deadline=None, derandomize=True)
PERIODS = st.floats(1500.0, 4500.0)
SWINGS = st.floats(3.0, 12.0)


def saw(t, period, swing, up=1 / 3):
    phase = (t % period) / period
    return 110.0 + swing * np.where(phase < up, phase / up, (1 - phase) / (1 - up))


def follow(rhythm, level, start=0.0, swing=math.nan):
    """Feed a level, one value a look; give when refuels were seen, and when each had become sure."""
    seen = []
    for k, celsius in enumerate(level):
        now = start + k * STEP
        when = rhythm.look(now, float(celsius), swing)
        if when is not None:
            seen.append((when, now))
    return seen


def smoothed(level):
    """Smooth over two minutes, as what the fire watch feeds."""
    return np.convolve(level, np.full(24, 1 / 24), mode="same")[24:-24]


@BOUNDED
@given(PERIODS, SWINGS, st.floats(0.2, 0.6), st.integers(0, 2**32 - 1))
def test_the_period_of_a_saw_tooth_is_found(period, swing, up, seed):
    t = np.arange(0, 9 * period, STEP)
    noisy = saw(t, period, swing, up) + np.random.default_rng(seed).normal(0, 0.2, t.size)
    rhythm = Rhythm()
    seen = follow(rhythm, smoothed(noisy), 24 * STEP, swing)
    assert rhythm.period_seconds == pytest.approx(period, rel=0.05)
    assert len(seen) == rhythm.count
    # each at a turn, once, and sure soon after
    assert 7 <= len(seen) <= 9
    off = [abs(when / period - round(when / period)) * period for when, _ in seen]
    assert max(off) < 240.0
    assert max(sure - when for when, sure in seen) < 0.5 * period
    assert rhythm.due_unix == pytest.approx(seen[-1][0] + period, abs=0.05 * period)


@BOUNDED
@given(PERIODS, st.sets(st.integers(1, 9), max_size=4), st.floats(0.0, 0.08), st.integers(0, 2**32 - 1))
def test_gaps_of_several_splits_are_folded(period, missed, jitter, seed):
    """Splits that do not show leave gaps of two or three; while most gaps are single, the habit is still read."""
    rng = np.random.default_rng(seed)
    kept = [k for k in range(11) if k not in missed]
    gaps = np.diff(kept)
    rhythm = Rhythm()
    for k in kept:
        rhythm.confirm(k * period + float(rng.uniform(-jitter, jitter)) * period)
    assert rhythm.count == len(kept)
    if np.count_nonzero(gaps[-8:] == 1) > 0.4 * gaps[-8:].size:
        assert rhythm.period_seconds == pytest.approx(period, rel=0.03 + 1.5 * jitter)


@pytest.mark.parametrize("known", [0, 1, 2])
def test_there_is_no_habit_of_one_or_two(known):
    rhythm = Rhythm()
    for k in range(known):
        rhythm.confirm(k * 2400.0)
    assert math.isnan(rhythm.period_seconds)
    assert math.isnan(rhythm.due_unix)


@BOUNDED
@given(PERIODS, st.integers(0, 7), st.floats(-JOIN_SECONDS + 1, JOIN_SECONDS - 1))
def test_what_is_confirmed_near_one_takes_its_place_and_deleting_takes_it_away(period, which, apart):
    rhythm = Rhythm()
    times = [k * max(period, 2 * JOIN_SECONDS + 10) for k in range(8)]
    for t in times:
        assert not rhythm.confirm(t)
    assert rhythm.confirm(times[which] + apart)
    assert rhythm.count == 8
    assert times[which] + apart in rhythm.refuels
    assert list(rhythm.refuels) == sorted(rhythm.refuels)
    rhythm.delete(times[which] + apart)
    assert rhythm.count == 7
    assert not rhythm.confirm(times[which])
    assert list(rhythm.refuels) == times


@BOUNDED
@given(st.floats(0.0, 0.6), PERIODS, st.integers(0, 2**32 - 1))
def test_a_level_that_only_flutters_has_no_refuels(swing, period, seed):
    t = np.arange(0, 6 * period, STEP)
    rng = np.random.default_rng(seed)
    rhythm = Rhythm()
    assert follow(rhythm, smoothed(saw(t, period, swing) + rng.normal(0, 0.2, t.size)), 24 * STEP) == []
    assert rhythm.count == 0


def test_a_pause_is_no_turn():
    """A fall, a time that tells nothing, and a level far above: nobody saw it turn."""
    rhythm = Rhythm()
    follow(rhythm, np.linspace(115, 108, 200))
    rhythm.pause()
    assert follow(rhythm, np.full(200, 116.0), 1000.0) == []
    plain = Rhythm()
    follow(plain, np.linspace(115, 108, 200))
    assert len(follow(plain, np.full(200, 116.0), 1000.0)) == 1
    assert rhythm.look(9000.0, math.nan, 8.0) is None
