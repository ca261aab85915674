"""How a zone's cold is judged: ahead while it grows, and by the number that is shown once that has lasted."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from collector.model.cold import (
    COOK_TO_COOK_KELVIN,
    DOUBT_SHARE,
    GROWN_KELVIN,
    LEAD_SECONDS,
    MOST_LEAD_KELVIN,
    RUN_SECONDS,
    STANDING_SD_KELVIN,
    ColdWatch,
)

STEP = 5.0
LIMIT = 8.3
BOUNDED = settings(max_examples=40, deadline=None)


def run(deficit, standing, seconds, watch=None, start=0.0):
    """Feed functions of time for one zone and a second that stays even; give the watch."""
    watch = ColdWatch(2, STEP) if watch is None else watch
    for t in np.arange(start, start + seconds, STEP):
        watch.look(float(t), np.array([deficit(float(t)), 0.0]), np.array([standing, 0.0]))
    return watch


def judged(watch, sd, usual=np.nan, base=0.0):
    return watch.judged(np.array([sd, sd]), np.array([usual, np.nan]), np.array([base, 0.0]))


def growing(watch, sd, usual=np.nan):
    return watch.growing(np.array([sd, sd]), np.array([usual, np.nan]))


@BOUNDED
@given(st.floats(-15, 20), st.floats(0.1, 4.0))
def test_what_was_always_so_is_held_against_the_limit_by_seventy_percent(deficit, sd):
    """P(deficit > limit) > 70 % where what a normal distribution (scipy) exceeds with 70 % is above the limit."""
    assert np.isnan(judged(run(lambda _t: deficit, deficit, RUN_SECONDS - STEP), sd)).all(), "not for long enough"
    watch = run(lambda _t: deficit, deficit, RUN_SECONDS)
    assert judged(watch, sd) == pytest.approx(norm.isf(0.7, [deficit, 0.0], sd), abs=1e-3 * sd)


def test_one_look_above_the_limit_raises_nothing():
    watch = run(lambda t: 20.0 if 600 < t <= 600 + RUN_SECONDS / 2 else 1.0, 1.0, 600 + RUN_SECONDS / 2 + STEP)
    assert np.fmax(judged(watch, 1.0), 0.0)[0] > 1.0, "the growth path sees it at once"
    flat = run(lambda t: 20.0 if t > 600 else 1.0, 20.0, 600 + RUN_SECONDS / 2)
    assert judged(flat, 0.0)[0] == 1.0, "standing for less than its run"


@BOUNDED
@given(st.floats(3.0, 15.0), st.floats(-4.0, 6.0), st.floats(0.3, 4.0))
def test_a_step_shows_at_once_on_top_of_what_the_standing_deserves(step, standing, sd):
    watch = run(lambda t: standing + step * (t > 900), standing, 1200)
    believed = standing * STANDING_SD_KELVIN**2 / (STANDING_SD_KELVIN**2 + sd**2)
    value = growing(watch, sd)[0]
    assert value >= believed + step - 1e-6
    # while it grows it is led; once it stays, it is no more
    settled = run(lambda t: standing + step * (t > 900), standing, 1500, watch, 1200)
    assert growing(settled, sd)[0] >= believed + step - 1e-6
    fast_only = run(lambda _t: standing + step, standing, 1200)
    assert growing(fast_only, sd)[0] == pytest.approx(believed + step + DOUBT_SHARE * sd, abs=1e-6)


@BOUNDED
@given(st.floats(-6.0, 10.0), st.floats(-6.0, 10.0), st.floats(0.3, 4.0), st.floats(-10.0, 10.0))
def test_what_earlier_cooks_told_is_believed_more_than_a_tuned_pit_at_large(standing, usual, sd, base):
    """Between tonight's standing and the usual of this pit, the nearer to the usual the less sure tonight is."""
    watch = run(lambda _t: standing + 5.0, standing, 1200)
    grown = [growing(watch, each, usual)[0] - 5.0 - DOUBT_SHARE * each for each in (0.01, sd, 100.0)]
    assert grown[0] == pytest.approx(standing, abs=1e-3)
    assert grown[2] == pytest.approx(usual, abs=0.01)
    share = COOK_TO_COOK_KELVIN**2 / (COOK_TO_COOK_KELVIN**2 + sd**2)
    assert grown[1] == pytest.approx(share * standing + (1 - share) * usual, abs=1e-9)
    # what the rule compares with is taken off as it is
    assert judged(watch, sd, usual, base)[0] == pytest.approx(judged(watch, sd, usual)[0] - base, abs=1e-9)


@BOUNDED
@given(st.floats(0.0, GROWN_KELVIN - 0.01), st.floats(0.3, 3.0))
def test_little_growth_is_no_change(grown, sd):
    watch = run(lambda _t: 3.0 + grown, 3.0, 1200)
    assert judged(watch, sd)[0] < 3.0 + grown
    assert not watch.grew(0)


@settings(max_examples=10, deadline=None)
@given(st.floats(8.0, 40.0), st.floats(0.5, 2.0))
@example(8.0, 2.0)
def test_a_zone_that_grows_colder_is_told_minutes_before_it_is_too_cold(kelvin_an_hour, sd):
    """Led by five minutes of its own growth, never by more."""
    rate = kelvin_an_hour / 3600

    def deficit(t):
        return rate * max(t - 1200.0, 0.0)

    watch = ColdWatch(2, STEP)
    told = None
    for t in np.arange(0, 1200 + 2 * LIMIT / rate, STEP):
        run(deficit, 0.0, STEP, watch, float(t))
        if told is None and judged(watch, sd)[0] > LIMIT:
            told = float(t)
    cold = 1200.0 + LIMIT / rate
    assert told is not None
    lead = max(LEAD_SECONDS, DOUBT_SHARE * sd / rate)  # of slow growth the doubt is the more
    assert cold - lead - 60.0 <= told < cold - 0.4 * LEAD_SECONDS


def test_growth_that_turns_back_is_not_led_on():
    watch = run(lambda t: 6.0 - 0.004 * t, 0.0, 600)
    value = judged(watch, 1.0)[0]
    assert value == pytest.approx(6.0 - 0.004 * 595 + DOUBT_SHARE, abs=1e-6)


def test_a_zone_that_went_cold_tonight_has_not_stood_so_all_night_however_long_ago_that_was():
    watch = run(lambda t: 10.0 if t > 1200 else 1.0, 1.0, 1800)
    assert watch.grew(0)
    run(lambda _t: 10.0, 9.5, 3600, watch, 1800.0)  # its usual has come to hold the leak
    assert watch.grew(0)
    run(lambda _t: 1.0, 1.0, 60, watch, 5400.0)
    assert not watch.grew(0)


def test_a_jump_is_led_on_by_no_more_than_a_leak_could_grow():
    watch = run(lambda t: 7.0 * (t > 900), -2.0, 1000)
    assert judged(watch, 0.1)[0] < 7.0 + MOST_LEAD_KELVIN + 0.1


def test_what_grew_behind_an_open_lid_did_not_grow_at_once():
    """A lid opening of twenty minutes is no look; the zone went on at its own pace of 12 K an hour."""
    rate = 12.0 / 3600.0
    watch = run(lambda t: rate * t, 0.0, 900)
    run(lambda t: rate * t, 0.0, 300, watch, 2100.0)
    assert watch.rates[0] == pytest.approx(rate, rel=0.2)


def test_what_is_not_known_tells_nothing():
    never = ColdWatch(2, STEP)
    for look in range(1000):
        never.look(STEP * look, np.full(2, np.nan), np.full(2, np.nan))
    assert np.isnan(judged(never, 1.0)).all()


def test_what_was_before_a_door_opening_says_nothing_of_what_is_after_it():
    watch = run(lambda _t: 12.0, 12.0, 600)
    run(lambda _t: 12.0, 12.0, RUN_SECONDS - STEP, watch, 1200.0)
    assert np.isnan(judged(watch, 1.0)).all()
