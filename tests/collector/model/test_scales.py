"""The scales a chamber is given: between what is usual in pits and what its own probes tell, and steady."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.model.field import FieldModel, Walls
from collector.model.scales import PRIOR, Scales, estimate

BOUNDED = settings(max_examples=12, deadline=None, derandomize=True)
SEEDS = st.integers(0, 2**32 - 1)


def places(probes, seed):
    rng = np.random.default_rng(seed)
    return rng.uniform(0, 1, probes), rng.uniform(0, 1, probes)


def model_of(x, y):
    """Give what makes the model of probes in a pit of length and width one with given scales."""

    def model(scales: Scales) -> FieldModel:
        return FieldModel(
            x, y, np.full(x.size, 0.7), sigma_kelvin=scales.sigma_kelvin, length_x_m=scales.length_x_share,
            length_y_m=scales.length_y_share, rough_kelvin=scales.rough_kelvin, walls=Walls(1.0, 3.0),
            slope_sd_kelvin_per_m=25.0,
        )  # fmt: skip

    return model


def drawn(x, y, scales, seed):
    """Draw a field of these scales at places, noise and roughness with it."""
    rng = np.random.default_rng(seed)
    apart = ((x[:, None] - x) / scales.length_x_share) ** 2 + ((y[:, None] - y) / scales.length_y_share) ** 2
    smooth = np.linalg.cholesky(np.exp(-0.5 * apart) + 1e-9 * np.eye(x.size)) @ rng.normal(0, 1, x.size)
    return scales.sigma_kelvin * smooth + rng.normal(0, math.hypot(0.7, scales.rough_kelvin), x.size)


def test_one_probe_tells_nothing_so_the_prior_stands():
    found = estimate(model_of(np.array([0.4]), np.array([0.5])), np.array([3.0]))
    assert found.sigma_kelvin == pytest.approx(PRIOR.sigma_kelvin, rel=0.15)
    assert found.length_x_share == pytest.approx(PRIOR.length_x_share, rel=0.1)
    assert found.length_y_share == pytest.approx(PRIOR.length_y_share, rel=0.1)
    assert found.rough_kelvin == pytest.approx(PRIOR.rough_kelvin, rel=0.15)
    assert found.level_correlation == PRIOR.level_correlation


@BOUNDED
@given(st.integers(6, 12), SEEDS)
def test_the_more_uneven_the_more_sigma_and_always_between_prior_and_data(probes, seed):
    x, y = places(probes, seed)
    shape = drawn(x, y, Scales(1.0, 0.28, 0.55, 0.0, 0.0), seed)
    shape /= np.std(shape)
    sigmas = [estimate(model_of(x, y), k * shape).sigma_kelvin for k in (0.0, 1.0, 3.0, 6.0, 12.0)]
    assert sigmas == sorted(sigmas)
    assert sigmas[0] < PRIOR.sigma_kelvin < sigmas[-1]
    # never further from the prior than the probes alone would have it, by the likeliest sigma of a fine grid
    for k, sigma in zip((0.0, 12.0), (sigmas[0], sigmas[-1]), strict=True):
        grid = PRIOR.sigma_kelvin * np.geomspace(0.1, 10, 41)
        alone = max(grid, key=lambda s: model_of(x, y)(Scales(s, 0.28, 0.55, 0.7, 0.3)).evidence(k * shape))
        low, high = sorted((PRIOR.sigma_kelvin, alone))
        assert low * 0.95 <= sigma <= high * 1.05


def test_many_probes_tell_what_few_cannot():
    """A restless field: nine probes move the scales part of the way to the truth, forty further."""
    truth = Scales(14.0, 0.17, 0.4, PRIOR.rough_kelvin, PRIOR.level_correlation)
    few, many = [], []
    for seed in range(12):
        for count, found in ((9, few), (40, many)):
            x, y = places(count, seed)
            found.append(estimate(model_of(x, y), drawn(x, y, truth, 100 + seed)))
    for name in ("sigma_kelvin", "length_x_share", "length_y_share"):
        usual, meant = math.log(getattr(PRIOR, name)), math.log(getattr(truth, name))
        way = [
            (np.mean([math.log(getattr(s, name)) for s in found]) - usual) / (meant - usual) for found in (few, many)
        ]
        assert -0.1 < way[0] < way[1] < 1.1, name


@BOUNDED
@given(st.integers(5, 12), st.floats(0.5, 8.0), SEEDS)
def test_a_tenth_of_a_kelvin_does_not_move_the_map(probes, sigma, seed):
    x, y = places(probes, seed)
    away = drawn(x, y, Scales(sigma, 0.28, 0.55, 0.7, 0.3), seed)
    nudged = away + np.random.default_rng(seed + 1).uniform(-0.1, 0.1, probes)
    a, b = estimate(model_of(x, y), away), estimate(model_of(x, y), nudged)
    for name in ("sigma_kelvin", "length_x_share", "length_y_share"):
        assert getattr(a, name) == pytest.approx(getattr(b, name), rel=0.05)


@BOUNDED
@given(st.integers(4, 10), st.floats(-40, 40), SEEDS)
def test_what_all_share_says_nothing_of_scales(probes, shared, seed):
    x, y = places(probes, seed)
    away = drawn(x, y, PRIOR, seed)
    a, b = estimate(model_of(x, y), away), estimate(model_of(x, y), away + shared)
    assert a.sigma_kelvin == pytest.approx(b.sigma_kelvin, rel=1e-6)
    assert a.length_x_share == pytest.approx(b.length_x_share, rel=1e-6)


@pytest.mark.parametrize("rough", [0.3, 1.0, 3.0])
def test_how_rough_a_chamber_is_widens_its_interval(rough):
    """Of thirty probes: nearer to the truth than the prior is, or as near."""
    found = []
    for seed in range(8):
        x, y = places(30, seed)
        found.append(estimate(model_of(x, y), drawn(x, y, Scales(4.0, 0.28, 0.8, rough, 0.3), seed)).rough_kelvin)
    told = math.log(np.median(found))
    assert abs(told - math.log(rough)) <= abs(math.log(PRIOR.rough_kelvin) - math.log(rough)) + 0.1
    assert np.median(found) < PRIOR.rough_kelvin if rough < 1.5 else np.median(found) > PRIOR.rough_kelvin
