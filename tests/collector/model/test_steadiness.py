"""When a probe in a bath is steady, and how sure its mean is."""

import math

import numpy as np
import pytest

from collector.model.steadiness import BathWatch, State, median_sd_kelvin, resolution_kelvin, rest


def bath(celsius, seconds=900, every=4.5, reference=0.0, start=0.0):
    """Play a probe whose reading is a function of the time; give the states on the way and the watch."""
    watch, states = BathWatch(), []
    t = start
    while t < start + seconds:
        watch.take(t, celsius(t - start), reference if not callable(reference) else reference(t - start))
        states.append(watch.look(t))
        t += every
    return watch, states


def noisy(seed, noise=0.1):
    random = np.random.default_rng(seed)
    return lambda: float(random.normal(0.0, noise))


def test_a_probe_dropped_into_ice_is_taken_once_it_has_come_to_rest():
    shake = noisy(1)
    watch, states = bath(lambda t: 0.7 + 25.0 * math.exp(-t / 40.0) + shake())
    assert states[0] is State.FEW
    assert State.MOVING in states
    assert states[-1] is State.STEADY
    assert watch.found is not None
    assert watch.found.raw_celsius == pytest.approx(0.7, abs=0.15)
    assert abs(watch.found.raw_celsius - 0.7) < 2.0 * watch.found.sd_kelvin


def test_what_was_found_stays_when_the_probe_is_taken_out():
    watch, _ = bath(lambda t: 0.3 if t < 300 else 25.0, seconds=600)
    assert watch.found is not None
    assert watch.found.raw_celsius == pytest.approx(0.3)
    assert watch.state is State.STEADY


def test_one_that_walks_on_is_not_steady():
    watch, states = bath(lambda t: 3.0 - 0.15 * t / 60.0)
    assert set(states) == {State.FEW, State.MOVING}
    assert watch.found is None


@pytest.mark.parametrize("period", [60.0, 120.0, 240.0, 360.0])
def test_one_that_swings_is_never_steady_not_even_at_its_turning_points(period):
    shake = noisy(3)
    watch, states = bath(lambda t: 3.3 * math.sin(2.0 * math.pi * t / period) + shake())
    assert State.STEADY not in states
    assert State.SWINGING in states
    assert watch.found is None


def test_a_swing_that_seldom_readings_hide_is_not_steady():
    assert bath(lambda t: 3.3 * (-1) ** round(t / 60.0), seconds=1800, every=60.0)[1][-1] is State.SWINGING


def test_one_that_flickers_between_two_steps_is_steady():
    shake = noisy(4, 0.3)
    assert bath(lambda t: float(round(0.5 + 0.1 * math.sin(t / 50.0) + shake())))[1][-1] is State.STEADY


def test_one_that_lies_beside_the_bath_is_told():
    watch, states = bath(lambda t: 25.0)
    assert states[-1] is State.ELSEWHERE
    assert watch.found is None


def test_too_few_readings_and_silence():
    assert bath(lambda t: 0.2, every=100.0)[1][-1] is State.FEW
    assert bath(lambda t: 0.2, every=30.0)[1][-1] is State.STEADY, "one that sends seldom is watched for longer"
    watch, _ = bath(lambda t: 20.0, seconds=200)
    assert watch.look(210.0) is State.ELSEWHERE
    assert watch.look(400.0) is State.SILENT
    assert BathWatch().look(100.0) is State.SILENT


def test_a_reading_counts_once():
    watch = BathWatch()
    for k in range(300):
        watch.take(k // 100 * 5.0, 0.1, 0.0)
        watch.look(float(k))
    assert watch.readings == 3


def test_a_place_that_cools_too_fast_is_nothing_to_compare_in():
    _, states = bath(lambda t: 100.5 - t / 20.0, reference=lambda t: 100.0 - t / 20.0)
    assert State.BATH_MOVING in states
    assert State.STEADY not in states
    _, states = bath(lambda t: 100.5 - t / 120.0, reference=lambda t: 100.0 - t / 120.0)
    assert states[-1] is State.STEADY, "a pit's slow swing is all right"


@pytest.mark.parametrize("r", [0.0, 0.5, 0.85])
def test_the_sd_of_the_mean_covers_noise_that_hangs_together(r):
    random, seconds, inside = np.random.default_rng(5), np.arange(0.0, 120.0, 2.0), 0
    for _ in range(400):
        noise = random.normal(0.0, 0.3, seconds.size)
        for k in range(1, seconds.size):
            noise[k] = r * noise[k - 1] + math.sqrt(1.0 - r * r) * noise[k]
        found = rest(seconds, noise, np.zeros(seconds.size), 0.01)
        inside += abs(found.raw_celsius) <= 2.0 * found.sd_kelvin
    assert inside >= 0.9 * 400


@pytest.mark.parametrize(
    ("values", "step"),
    [
        ([0.0, 1.0, 25.0], 1.0),
        ([(f - 32.0) / 1.8 for f in (32, 33, 77)], 5.0 / 9.0),
        ([0.5, 1.0, 7.5], 0.5),
        ([0.1, 0.3, 20.7], 0.1),
        ([(f - 32.0) / 1.8 for f in (32.1, 33.4, 77.3)], 0.5 / 9.0),
        ([0.123, 0.456], 0.01),
    ],
)
def test_the_steps_in_which_a_probe_tells_its_values(values, step):
    assert resolution_kelvin(np.round(np.array(values), 3)) == pytest.approx(step)


def test_whole_degrees_are_less_sure_than_tenths():
    seconds, flat = np.arange(0.0, 120.0, 5.0), np.zeros(24)
    assert rest(seconds, flat, flat, 1.0).sd_kelvin == pytest.approx(1.0 / math.sqrt(12.0))


def test_the_median_is_as_sure_as_probes_lie_together():
    random = np.random.default_rng(2)
    off, told = [], []
    for _ in range(600):
        values = random.normal(0.0, 0.8, 9)
        off.append(float(np.median(values)))
        told.append(median_sd_kelvin(values, np.full(9, 0.1)))
    assert np.std(off) == pytest.approx(np.mean(told), rel=0.15)


def test_a_few_that_lie_together_by_chance_are_no_surer_than_what_is_stated_of_them():
    assert median_sd_kelvin(np.array([0.7, 0.7, 0.7, 0.8]), np.full(4, 1.0)) == pytest.approx(1.2533 / 2.0)
