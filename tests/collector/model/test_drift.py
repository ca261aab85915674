"""How far the grate is off its band, now and soon, and by all that is heard, on curves known by construction."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes

from collector.model.drift import AHEAD_SECONDS, FLOOR_SECONDS, LEVEL_SECONDS, STEEP_KELVIN_PER_HOUR, DriftWatch

STEP = 5.0
LOW, HIGH = 99.0, 127.0
BOUNDED = settings(max_examples=15, deadline=None, derandomize=True)


def follow(shown, heard=None):
    """Feed a curve, a value a look; give the watch."""
    drift = DriftWatch(LOW, HIGH, STEP)
    for celsius, other in zip(shown, shown if heard is None else heard, strict=True):
        drift.look(float(celsius), float(other))
    drift.find_slope()
    return drift


def line(hours, ends_at, kelvin_an_hour, noise=0.15):
    t = np.arange(0, hours * 3600, STEP)
    rng = np.random.default_rng(1)
    return ends_at + kelvin_an_hour * (t - t[-1]) / 3600.0 + rng.normal(0, noise, t.size)


@BOUNDED
@given(st.floats(80.0, 145.0))
def test_a_level_that_stands_is_off_by_what_it_is_off_its_band(level):
    """A stated band is the band: 1 K outside it is 1 K, whatever the saw-tooth or the evening was like."""
    below, above = follow(line(2.0, level, 0.0)).outside_kelvin()
    assert below == pytest.approx(LOW - level, abs=0.1)
    assert above == pytest.approx(level - HIGH, abs=0.1)


@BOUNDED
@given(st.floats(103.0, 123.0), st.floats(STEEP_KELVIN_PER_HOUR + 1.0, 40.0), st.booleans())
def test_a_steep_slope_counts_half_an_hour_ahead_in_its_own_direction_only(level, kelvin_an_hour, rises):
    """The slope is that of Theil and Sen (scipy), to a twentieth."""
    way = kelvin_an_hour if rises else -kelvin_an_hour
    curve = line(1.5, level, way)
    drift = follow(curve)
    exact = theilslopes(curve[::60], np.arange(curve.size)[::60] * STEP / 3600.0)[0]
    assert drift.slope_kelvin_per_hour == pytest.approx(exact, rel=0.05)
    below, above = drift.outside_kelvin()
    recent = 0.5 * LEVEL_SECONDS / 3600.0 * way
    ahead = AHEAD_SECONDS / 3600.0 * way
    assert below == pytest.approx(LOW - (level + (-recent if rises else ahead)), abs=0.4)
    assert above == pytest.approx(level + (ahead if rises else -recent) - HIGH, abs=0.4)


def test_on_the_way_back_to_the_target_nothing_is_forecast():
    """From 90 °C up at 30 K an hour: in half an hour it is well inside; what counts below is where it is."""
    below, above = follow(line(1.5, 105.0, 30.0)).outside_kelvin()
    assert below < 0.0
    assert above < 0.0
    cold, _ = follow(line(1.5, 92.0, 30.0)).outside_kelvin()
    assert cold == pytest.approx(LOW - 92.0 + 0.5 * LEVEL_SECONDS / 3600.0 * 30.0, abs=0.3)


def test_a_slope_that_no_hour_bears_out_is_no_forecast():
    """Twenty minutes at 60 K an hour, a rising flank of a saw-tooth, are too few."""
    drift = follow(line(1.0 / 3.0, 120.0, 60.0))
    assert drift.outside_kelvin()[1] < 0.0


def test_what_is_not_known_is_not_off():
    drift = DriftWatch(LOW, HIGH, STEP)
    assert all(map(math.isnan, drift.outside_kelvin()))
    assert math.isnan(drift.below_floor_kelvin())
    gone = follow(np.append(line(2.0, 113.0, 0.0), np.full(int(LEVEL_SECONDS / STEP), np.nan)))
    assert all(map(math.isnan, gone.outside_kelvin()))


def test_the_floor_sees_what_nothing_else_is_shown():
    """Doors, doubts and a warm-up hide the shown level; what the probes say is heard all the same."""
    heard = line(1.0, 80.0, 0.0)
    drift = follow(np.full(heard.size, np.nan), heard)
    assert math.isnan(drift.outside_kelvin()[0])
    assert drift.below_floor_kelvin() == pytest.approx(LOW - 80.0, abs=0.1)
    short = np.where(np.arange(heard.size) > heard.size - 0.4 * FLOOR_SECONDS / STEP, 40.0, 113.0)
    assert follow(short).below_floor_kelvin() < 0.0, "four minutes are no ten"


def test_read_by_another_line_it_begins_anew():
    drift = follow(line(1.5, 113.0, -20.0))
    drift.forget()
    assert all(map(math.isnan, (*drift.outside_kelvin(), drift.slope_kelvin_per_hour)))
