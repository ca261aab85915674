"""Theil–Sen against Sen's own example and scipy."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes

from collector.model.slope import bin_medians, slope_of_bins, theil_sen


def test_sens_example(reference):
    """Sen 1968: slope 4 (from memory; scipy agrees)."""
    t = reference("stats_refs.json")["theil_sen_sen1968"]
    assert theil_sen(np.array(t["x"], float), np.array(t["y"], float)) == t["slope"]


@given(st.lists(st.floats(-50, 400), min_size=3, max_size=60))
@settings(max_examples=100, deadline=None)
def test_the_exact_slope_equals_scipy(values):
    y = np.array(values)
    x = np.arange(y.size) * 5.0
    assert theil_sen(x, y) == pytest.approx(theilslopes(y, x)[0], abs=1e-9)


def test_the_fast_slope_is_nearly_as_good_as_the_exact_one():
    """Over 60 records with 5 % outliers: within 15 % of the exact one's error, within 30 % from medians of three."""
    rng = np.random.default_rng(11)
    t = np.arange(600) * 2.0
    exact, fast, binned = [], [], []
    for _ in range(60):
        y = 110 + 0.001 * t + rng.normal(0, 0.5, t.size) + (rng.random(t.size) < 0.05) * rng.normal(0, 8, t.size)
        exact.append(theilslopes(y, t)[0] - 0.001)
        fast.append(float(slope_of_bins(y, 2.0)) - 0.001)
        binned.append(float(slope_of_bins(bin_medians(y, 3), 6.0)) - 0.001)
    error = np.sqrt(np.mean(np.square(exact)))
    assert np.sqrt(np.mean(np.square(fast))) < 1.15 * error
    assert np.sqrt(np.mean(np.square(binned))) < 1.30 * error


def test_gaps_are_left_out():
    y = np.arange(60.0)
    y[20:35] = np.nan
    assert float(slope_of_bins(bin_medians(y, 3), 3.0)) == pytest.approx(1.0)
    assert np.isnan(slope_of_bins(np.full(30, np.nan), 1.0))
