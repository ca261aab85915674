"""The stationary block bootstrap against a published library (arch) on the same series, and a mean that is known.

The standard error of the mean of a first-order series is the textbook's: σ²/n (1 + φ)/(1 - φ) for a long one.
"""

import math

import numpy as np
import pytest

from collector.model.block_bootstrap import block_length, mean_covariance


def first_order(phi, n, seed, series=1):
    random = np.random.default_rng(seed)
    steps = random.standard_normal((n, series))
    out = np.empty((n, series))
    out[0] = steps[0] / math.sqrt(1 - phi**2)
    for k in range(1, n):
        out[k] = phi * out[k - 1] + steps[k]
    return out


@pytest.mark.parametrize(("phi", "n", "block"), [(0.7, 2000, 12.0), (0.9, 480, 20.0), (0.0, 300, 3.0)])
def test_the_closed_form_is_what_drawing_tends_to(phi, n, block):
    """Without the correction for the mean that was taken away, which the drawing does not have."""
    from arch.bootstrap import StationaryBootstrap

    series = first_order(phi, n, 11)
    drawn = StationaryBootstrap(block, series[:, 0], seed=np.random.default_rng(4))
    means = drawn.apply(np.mean, 3000)[:, 0]
    found = mean_covariance(series, block)[0, 0] * max(1.0 - 2.0 * block / n, 0.3)
    assert math.sqrt(found) == pytest.approx(means.std(), rel=0.05)


@pytest.mark.parametrize(("phi", "n"), [(0.7, 2000), (0.9, 600), (0.3, 500), (0.97, 600)])
def test_the_length_of_blocks_is_the_librarys(phi, n):
    from arch.bootstrap import optimal_block_length

    series = first_order(phi, n, 5)[:, 0]
    theirs = float(optimal_block_length(series)["stationary"].iloc[0])
    assert block_length(series) == pytest.approx(theirs, rel=0.02)


def test_the_error_of_a_mean_of_a_first_order_series():
    """φ = 0.7, n = 2000, steps of one: 0.0745 by the textbook; the mean over series comes within a tenth of it."""
    found = [math.sqrt(mean_covariance(first_order(0.7, 2000, seed))[0, 0]) for seed in range(30)]
    assert np.mean(found) == pytest.approx(0.0745, rel=0.1)


def test_series_that_go_together_are_seen_to():
    one = first_order(0.8, 1500, 3)
    other = first_order(0.8, 1500, 4)
    both = np.hstack([one, one + 0.01 * other, other])
    covariance = mean_covariance(both)
    sd = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(sd, sd)
    assert correlation[0, 1] > 0.99
    assert abs(correlation[0, 2]) < 0.4
    assert np.all(np.linalg.eigvalsh(covariance) > -1e-12)


def test_too_little_tells_nothing():
    assert np.isnan(mean_covariance(np.ones((5, 2)))).all()
    assert block_length(np.full(50, 2.0)) == 1.0
