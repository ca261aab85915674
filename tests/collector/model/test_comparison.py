"""Comparing cooks: intervals that cover what they say, against scipy and against series whose answer is known."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from collector.model.comparison import (
    BETWEEN,
    WITHIN,
    CookNumber,
    compare,
    cooks_needed,
    mean_variance,
    student_quantile,
)

COOK_SD = 0.6


def first_order(phi, n, random, sd=1.0):
    """A stationary series of the first order with this standard deviation."""
    steps = random.normal(0.0, sd * math.sqrt(1 - phi**2), n)
    out = np.empty(n)
    out[0] = random.normal(0.0, sd)
    for k in range(1, n):
        out[k] = phi * out[k - 1] + steps[k]
    return out


@pytest.mark.parametrize("minutes", [1, 10, 30])
def test_the_variance_of_a_mean_of_a_series_of_the_first_order(minutes):
    """σ²/n (1 + φ)/(1 - φ), the textbook value for a long series; ten hours of minutes."""
    random, n, phi = np.random.default_rng(minutes), 600, math.exp(-1.0 / minutes)
    found = [mean_variance(first_order(phi, n, random)) for _ in range(120)]
    assert np.median(found) == pytest.approx((1 + phi) / (1 - phi) / n, rel=0.3)


@pytest.mark.parametrize(("minutes", "least"), [(1, 0.92), (10, 0.88), (30, 0.8)])
def test_an_interval_of_one_night_covers_its_mean_where_one_that_counts_minutes_does_not(minutes, least):
    random, n, phi = np.random.default_rng(7), 600, math.exp(-1.0 / minutes)
    covered = naive = 0
    for _ in range(150):
        series = first_order(phi, n, random)
        covered += abs(series.mean()) < 1.96 * math.sqrt(mean_variance(series))
        naive += abs(series.mean()) < 1.96 * series.std(ddof=1) / math.sqrt(n)
    assert covered / 150 >= least - 0.04
    if minutes == 30:
        assert naive / 150 < 0.45


def test_of_a_constant_there_is_no_variance_and_of_a_few_values_it_is_not_known():
    assert mean_variance(np.full(100, 3.0)) == 0.0
    assert math.isnan(mean_variance(np.arange(5.0)))


@pytest.mark.parametrize("freedom", [4.0, 6.0, 8.0, 10.0, 25.0, 1e6])
@pytest.mark.parametrize("probability", [0.6, 0.8, 0.9, 0.975])
def test_quantiles_of_student_as_scipy_has_them(freedom, probability):
    assert student_quantile(probability, freedom) == pytest.approx(stats.t.ppf(probability, freedom), rel=5e-3)


def night(random, true):
    return CookNumber(true + random.normal(0.0, math.hypot(COOK_SD, 0.3)), 0.09)


@pytest.mark.parametrize("sides", [1, 3])
@pytest.mark.parametrize("change", [0.0, 2.8, 5.6])
def test_intervals_cover_a_true_change_when_cooks_differ_as_they_are_held_to(sides, change):
    random, count = np.random.default_rng(3), 500
    covered = shown = 0
    for _ in range(count):
        before = [night(random, 10.0) for _ in range(sides)]
        after = [night(random, 10.0 + change) for _ in range(sides)]
        effect = compare(before, after, COOK_SD)
        covered += effect.low <= change <= effect.high
        shown += effect.shown
    assert 0.92 <= covered / count <= 0.995
    if not change:
        assert shown / count <= 0.07
    if change == 5.6:
        assert shown / count >= 0.98


def numbers(*values, variance=0.05):
    return [CookNumber(v, variance) for v in values]


def test_cooks_that_differ_more_than_usual_widen_it():
    calm = compare(numbers(10.0, 10.2, 9.9), numbers(12.0, 12.1, 11.8), COOK_SD)
    wild = compare(numbers(7.0, 13.0, 10.0), numbers(9.0, 15.0, 12.0), COOK_SD)
    assert calm.shown
    assert not wild.shown
    assert wild.budget[0][0] == BETWEEN


def test_a_side_without_a_cook_is_refused():
    with pytest.raises(ValueError, match="each side needs a cook"):
        compare([], numbers(1.0), COOK_SD)


def test_how_many_cooks_it_takes():
    one, three = cooks_needed(5.6, 0.5, 0.0), cooks_needed(1.5, 0.5, 0.0)
    assert one == 1
    assert 3 <= three <= 8
    assert cooks_needed(0.01, 0.5, 0.0) is None
    assert cooks_needed(1.0, 0.5, 4.0) is None  # what all cooks share no number of them mends


def test_with_so_many_cooks_the_effect_is_shown_as_often_as_is_said():
    """Power by drawing: what `cooks_needed` promises for nine of ten, with the cooks' scatter not known."""
    count = cooks_needed(1.5, COOK_SD**2, 0.0)
    random = np.random.default_rng(5)
    shown = 0
    for _ in range(400):
        sides = [numbers(*random.normal(at, COOK_SD, count), variance=0.0) for at in (0.0, 1.5)]
        shown += compare(*sides, COOK_SD).shown
    assert 0.87 <= shown / 400 <= 1.0


@given(
    st.lists(st.floats(-50, 50), min_size=1, max_size=6),
    st.lists(st.floats(-50, 50), min_size=1, max_size=6),
    st.floats(0.01, 9.0),
)
def test_turned_round_it_is_the_same_effect_the_other_way(before, after, cook_sd):
    there, back = (compare(numbers(*a), numbers(*b), cook_sd) for a, b in ((before, after), (after, before)))
    assert there.amount == pytest.approx(-back.amount, abs=1e-9)
    assert (there.low, there.high) == pytest.approx((-back.high, -back.low), abs=1e-9)
    assert there.low <= there.amount <= there.high
    assert {source for source, _ in there.budget} == {BETWEEN, WITHIN}
    assert sum(variance for _, variance in there.budget) == pytest.approx(there.sd**2)
