"""What a forecast must keep to whatever was learned; how good it is, the bench of quality says."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from adapters.rehearsal.pit import Flesh, Meat
from adapters.rehearsal.roast import Roast, parts_of
from collector.model.meat.forecast import Arrival, Forecaster, air_needed, curve, of_piece
from collector.model.meat.track import Track

DONE = 95.0
NO = math.nan


def cook(hours=18, wrap_at=math.inf, air=115.0):
    flesh, wrapped = Flesh(), math.nan
    roast = Roast(parts_of(Meat(), flesh))
    tips = []
    for minute in range(60 * hours):
        tips.append(float(roast.tip_celsius[1]))
        if math.isnan(wrapped) and tips[-1] >= wrap_at:
            wrapped = 60.0 * minute
        bare = math.isnan(wrapped)
        share = np.ones(2)
        roast.step(
            60.0, np.full(2, air), open_share=share if bare else flesh.wrap_open * share,
            heat_share=share if bare else flesh.wrap_heat * share,
        )  # fmt: skip
    tip = np.array(tips) + np.random.default_rng(3).normal(0.0, 0.1, 60 * hours)
    return Track(60.0 * np.arange(tip.size), tip, np.full(tip.size, air), wrapped)


@pytest.fixture(scope="module")
def bare():
    return cook()


@pytest.fixture(scope="module")
def wrapped():
    return cook(wrap_at=72.0)


def until(track, minute, air=None):
    wrap = track.wrapped_seconds if track.wrapped_seconds <= 60.0 * minute else math.nan
    around = track.air_celsius[:minute] if air is None else np.full(minute, air)
    return Track(track.seconds[:minute], track.celsius[:minute].copy(), around, wrap, track.cut, track.mass_kg)


def done_minute(track):
    return int(np.argmax(track.celsius >= DONE))


def told(track, minute, target=DONE, **more):
    return Forecaster().update(until(track, minute), (target,), **more)[0]


@pytest.mark.parametrize("share", [0.5, 0.75, 0.9])
@pytest.mark.parametrize("night", ["bare", "wrapped"])
def test_the_time_is_told_better_than_by_a_line(night, share, request):
    track = request.getfixturevalue(night)
    done = done_minute(track)
    minute = int(share * done)
    arrival = told(track, minute, wrap_at_celsius=math.inf if night == "bare" else 72.0)
    slope = (track.celsius[minute - 1] - track.celsius[minute - 61]) / 60.0
    line = minute + (DONE - track.celsius[minute - 1]) / slope
    assert abs(arrival.median_seconds / 60.0 - done) < abs(line - done)
    assert arrival.low_seconds <= 60.0 * done <= arrival.high_seconds


def test_a_wrap_later_than_any_that_was_learned_is_as_none(bare):
    """No wrap makes it later than none does; told beyond what was learned, it would."""
    for share in (0.2, 0.4, 0.6):
        minute = int(share * done_minute(bare))
        left_bare = told(bare, minute, wrap_at_celsius=math.inf)
        assert told(bare, minute, wrap_at_celsius=94.0) == left_bare
        assert told(bare, minute, wrap_at_celsius=78.0).median_seconds < left_bare.median_seconds
        soon = [told(bare, minute, wrap_at_celsius=at).median_seconds for at in (30.0, 45.0, 62.0, 74.0)]
        assert soon == sorted(soon), "and an earlier one never comes later"
        assert soon[0] > 60.0 * minute


def test_it_narrows_as_the_night_goes_on(bare):
    width = []
    for share in (0.3, 0.6, 0.9):
        arrival = told(bare, int(share * done_minute(bare)))
        width.append(arrival.high_seconds - arrival.low_seconds)
    assert width[0] > width[1] > width[2]


def test_before_the_stall_has_shown_itself_nothing_narrow_is_said(bare):
    for minute in range(60, int(np.argmax(bare.celsius >= 58.0)), 20):
        arrival = told(bare, minute)
        if not math.isnan(arrival.median_seconds):
            left = arrival.median_seconds - 60.0 * minute
            assert arrival.high_seconds - arrival.low_seconds >= 0.55 * left


def test_the_same_calls_give_the_same_answers(bare):
    forecaster = Forecaster()
    going = [forecaster.update(until(bare, minute), (74.0, DONE)) for minute in range(200, 400, 40)]
    fresh = [Forecaster().update(until(bare, minute), (74.0, DONE)) for minute in range(200, 400, 40)]
    assert going == fresh


def test_a_hotter_target_never_comes_earlier(bare):
    for minute in (150, 300, 450):
        found = Forecaster().update(until(bare, minute), (95.0, 80.0, 90.0, 98.0))
        by_target = sorted(found, key=lambda arrival: arrival.target_celsius)
        for name in ("low_seconds", "median_seconds", "high_seconds"):
            times = [getattr(arrival, name) for arrival in by_target]
            assert times == sorted(times)
        assert all(a.low_seconds <= a.median_seconds <= a.high_seconds for a in found)


def test_what_is_reached_is_told_as_it_was(bare):
    minute = done_minute(bare)
    arrival = told(bare, minute + 30, 80.0)
    assert arrival.median_seconds == pytest.approx(60.0 * np.argmax(bare.celsius >= 80.0), abs=240.0)
    assert arrival.low_seconds == arrival.median_seconds == arrival.high_seconds


@pytest.mark.parametrize(
    ("minute", "target", "why", "value"),
    [
        (10, DONE, "heard", math.nan),
        (35, DONE, "too cold inside", math.nan),
        (300, math.nan, "no temperature", math.nan),
    ],
)
def test_what_cannot_be_known_says_why(bare, minute, target, why, value):
    arrival = told(bare, minute, target)
    assert math.isnan(arrival.median_seconds)
    assert why in arrival.why


def test_air_colder_than_the_target_never_gets_it_there(bare):
    arrival = Forecaster().update(until(bare, 300, air=90.0), (DONE,))[0]
    assert arrival.median_seconds == math.inf
    assert "raise the fire" in arrival.why
    assert told(bare, 300, air_ahead_celsius=90.0).high_seconds == math.inf


def test_a_probe_that_fell_silent_is_not_guessed_at(bare):
    silent = until(bare, 400)
    silent.celsius[350:] = np.nan
    assert math.isnan(Forecaster().update(silent, (DONE,))[0].median_seconds)


def test_without_air_it_still_tells(bare):
    arrival = Forecaster().update(until(bare, 450, air=math.nan), (DONE,))[0]
    assert 450 * 60.0 < arrival.low_seconds < arrival.high_seconds < math.inf


def test_hotter_air_ahead_brings_it_sooner(bare):
    minute = int(0.6 * done_minute(bare))
    times = [told(bare, minute, air_ahead_celsius=air).median_seconds for air in (105.0, 115.0, 125.0, 135.0)]
    assert times == sorted(times, reverse=True)


def test_the_air_that_is_needed_brings_it_in_time(bare):
    minute = int(0.6 * done_minute(bare))
    usual = told(bare, minute).median_seconds
    needed = air_needed(until(bare, minute), DONE, usual - 1800.0)
    assert 115.0 < needed <= 140.0
    assert told(bare, minute, air_ahead_celsius=needed).median_seconds <= usual - 1800.0 + 60.0
    assert math.isnan(air_needed(until(bare, minute), DONE, 60.0 * minute + 60.0))
    assert math.isnan(air_needed(until(bare, 10), DONE, 1e6))


def test_the_curve_ahead_agrees_with_the_arrival_and_never_falls(bare):
    minute = int(0.6 * done_minute(bare))
    arrival = told(bare, minute)
    at = np.arange(60.0 * minute, arrival.median_seconds, 600.0)
    rows = curve(until(bare, minute), at)
    assert np.isfinite(rows).all()
    assert np.all(np.diff(rows, axis=0) >= -1e-9)
    assert np.all((rows[:, 1] <= rows[:, 0]) & (rows[:, 0] <= rows[:, 2]))
    assert rows[0, 0] == pytest.approx(bare.celsius[minute - 1], abs=1.0)
    last = curve(until(bare, minute), np.array([arrival.median_seconds]))[0, 0]
    assert last == pytest.approx(DONE, abs=0.6)


def test_the_curve_is_unknown_where_nothing_can_be_known(bare):
    assert np.isnan(curve(until(bare, 10), np.array([3600.0, 7200.0]))).all()
    assert np.isnan(curve(until(bare, 400), np.array([100 * 3600.0, 60.0]))).all()


def arrival_of(low, median, high, why=""):
    return Arrival(DONE, low, median, high, why)


def test_the_slowest_of_two_alike_comes_later_than_each():
    one = arrival_of(30_000.0, 36_000.0, 42_000.0)
    both = of_piece([one, one])
    assert one.median_seconds < both.median_seconds < one.high_seconds
    assert one.low_seconds < both.low_seconds
    assert one.high_seconds < both.high_seconds < 45_000.0


def test_the_slowest_of_two_agrees_with_a_great_many_throws():
    parts = (arrival_of(30_000.0, 33_000.0, 42_000.0), arrival_of(31_000.0, 36_000.0, 39_000.0))
    random = np.random.default_rng(5)
    shared, own = random.standard_normal(200_000), random.standard_normal((200_000, 2))
    z = math.sqrt(0.6) * shared[:, None] + math.sqrt(0.4) * own
    middle = np.array([p.median_seconds for p in parts])
    side = np.where(z < 0, middle - [p.low_seconds for p in parts], [p.high_seconds for p in parts] - middle)
    thrown = np.quantile((middle + z * side / norm.isf(0.1)).max(axis=1), [0.1, 0.5, 0.9])
    both = of_piece(parts)
    # the slower one's tail may reach past the table of times: 2 minutes
    assert [both.low_seconds, both.median_seconds, both.high_seconds] == pytest.approx(thrown.tolist(), abs=200.0)


def test_a_part_that_is_far_behind_decides_alone():
    late = arrival_of(50_000.0, 54_000.0, 60_000.0)
    both = of_piece([arrival_of(20_000.0, 21_000.0, 22_000.0), late])
    expected = pytest.approx([late.low_seconds, late.median_seconds, late.high_seconds], abs=120.0)
    assert [both.low_seconds, both.median_seconds, both.high_seconds] == expected


def test_one_unknown_or_never_makes_the_piece_so():
    known, never = arrival_of(1.0, 2.0, 3.0), arrival_of(math.inf, math.inf, math.inf, "too cold")
    assert of_piece([known]) == known
    assert of_piece([known, never]) == never
    assert math.isnan(of_piece([known, never, arrival_of(NO, NO, NO, "not heard")]).median_seconds)
    with pytest.raises(ValueError, match="give at least one"):
        of_piece([])
