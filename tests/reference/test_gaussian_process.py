"""The field against Gaussian-process regression written out in full, and against scipy's normal distribution.

Source: Rasmussen and Williams, *Gaussian Processes for Machine Learning*, 2.2 and 2.7 (trend with a prior: F P F' is
added to the covariance; without one: its limit, generalised least squares); Bonilla and others, *Multi-task Gaussian
Process Prediction*, NIPS 2007 (several levels: the covariance of the levels times that of the places); Patterson and
Thompson, *Biometrika* 58, 1971 (restricted likelihood: that of contrasts without the free part of the trend). Nothing
of the block system of `FieldModel` is used here. A Gaussian-process library, scikit-learn, says the same.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.linalg import null_space
from scipy.stats import multivariate_normal
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel

from collector.model.field import FieldModel, Grid, Walls

LENGTH, WIDTH = 1.2, 0.5


@dataclass
class Case:
    """A field of one or two levels, and every number it is made of."""

    seed: int
    sigma: tuple[float, ...] = (3.0,)
    correlation: float = 0.0
    rough: float = 0.0
    walls_sd: float | None = None
    slope_sd: float = 20.0
    trend: str = "along"
    length_x: float = 0.35
    length_y: float = 0.3

    def __post_init__(self):
        rng = np.random.default_rng(self.seed)
        n = 7 * len(self.sigma)
        self.x, self.y = rng.uniform(0, LENGTH, n), rng.uniform(0, WIDTH, n)
        self.level = np.arange(n) % len(self.sigma)
        self.noise = rng.uniform(0.3, 1.2, n)
        self.z = 110 + 40 * self.level - 8 * self.x + rng.normal(0, 3, n)

    def model(self, keep=slice(None)):
        return FieldModel(
            self.x[keep], self.y[keep], self.noise[keep], sigma_kelvin=self.sigma, length_x_m=self.length_x,
            length_y_m=self.length_y, trend=self.trend, level=self.level[keep], level_correlation=self.correlation,
            rough_kelvin=self.rough, slope_sd_kelvin_per_m=self.slope_sd,
            walls=None if self.walls_sd is None else Walls(WIDTH, self.walls_sd),
        )  # fmt: skip

    def kernel(self, a, b):
        """Give level covariance times place correlation, for places (x, y, level), from the formula, one by one."""
        k = np.empty((len(a), len(b)))
        for i, (xa, ya, la) in enumerate(a):
            for j, (xb, yb, lb) in enumerate(b):
                tie = self.sigma[la] * self.sigma[lb] * (1.0 if la == lb else self.correlation)
                k[i, j] = tie * math.exp(
                    -0.5 * ((xa - xb) / self.length_x) ** 2 - 0.5 * ((ya - yb) / self.length_y) ** 2
                )
        return k

    def trends(self, places):
        """Give the free columns (constants) and those with a prior, with their variances."""
        free, held, variance = [], [], []
        for level in range(len(self.sigma)):
            here = np.array([float(at == level) for _, _, at in places])
            x, y = (np.array([p[axis] for p in places]) for axis in (0, 1))
            free.append(here)
            slopes = [here * x] * (self.trend != "constant") + [here * y] * (self.trend == "plane")
            (free if math.isinf(self.slope_sd) else held).extend(slopes)
            if not math.isinf(self.slope_sd):
                variance += [self.slope_sd**2] * len(slopes)
            if self.walls_sd is not None:
                held.append(here * ((2 * y / WIDTH - 1) ** 2 - 1 / 3))
                variance.append(self.walls_sd**2)
        return np.array(free).T, np.array(held).reshape(-1, len(places)).T, np.array(variance)

    def places(self):
        return list(zip(self.x.tolist(), self.y.tolist(), self.level.tolist(), strict=True))

    def joint(self, at):
        """Give covariance of the values, of the values with places, of the places; F P F' is in each."""
        told = self.places()
        (_, held, p), (_, held_at, _) = self.trends(told), self.trends(at)
        values = self.kernel(told, told) + held * p @ held.T + np.diag(self.noise**2 + self.rough**2)
        return values, self.kernel(at, told) + held_at * p @ held.T, self.kernel(at, at) + held_at * p @ held_at.T

    def posterior(self, at):
        """Give mean and full covariance of the smooth field at places: conditioning, free part by least squares."""
        v, k, prior = self.joint(at)
        f, f_at = self.trends(self.places())[0], self.trends(at)[0]
        v_inverse = np.linalg.inv(v)
        spread = np.linalg.inv(f.T @ v_inverse @ f)
        beta = spread @ f.T @ v_inverse @ self.z
        mean = f_at @ beta + k @ v_inverse @ (self.z - f @ beta)
        rest = f_at - k @ v_inverse @ f
        return mean, prior - k @ v_inverse @ k.T + rest @ spread @ rest.T


CASES = {
    "slope with a prior": Case(1),
    "slope without": Case(2, slope_sd=math.inf),
    "plane with a prior": Case(3, trend="plane"),
    "constant": Case(4, trend="constant"),
    "rough": Case(5, rough=0.9),
    "walls": Case(6, walls_sd=3.0),
    "two levels apart": Case(7, sigma=(3.0, 6.0)),
    "two levels tied": Case(8, sigma=(3.0, 6.0), correlation=0.6),
    "two levels against": Case(9, sigma=(2.0, 5.0), correlation=-0.5, trend="plane"),
    "all of it": Case(10, sigma=(3.0, 6.0), correlation=0.3, rough=0.7, walls_sd=3.0),
    "all, slope without a prior": Case(
        11, sigma=(3.0, 6.0), correlation=0.3, rough=0.7, walls_sd=3.0, slope_sd=math.inf
    ),
}
EACH = pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())


def query(level, seed=0, n=12):
    rng = np.random.default_rng(seed)
    return rng.uniform(0, LENGTH, n), rng.uniform(0, WIDTH, n), [level] * n


@EACH
def test_mean_and_deviation_are_those_of_the_full_regression(case):
    model = case.model()
    for level in range(len(case.sigma)):
        x, y, levels = query(level)
        mean, covariance = case.posterior(list(zip(x, y, levels, strict=True)))
        assert model.mean_at(case.z, x, y, level) == pytest.approx(mean, abs=1e-6)
        assert model.sd_at(x, y, level) == pytest.approx(np.sqrt(np.diag(covariance) + case.rough**2), abs=1e-6)
        apart = covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1] + 2 * case.rough**2
        assert model.difference_sd((x[0], y[0]), (x[1], y[1]), level) == pytest.approx(math.sqrt(apart), abs=1e-6)


@EACH
def test_the_drawn_grid_too(case):
    columns, rows = np.linspace(0, LENGTH, 7), np.linspace(0, WIDTH, 5)
    for level in range(len(case.sigma)):
        grid = Grid(case.model(), columns, rows, level)
        mean, covariance = case.posterior([(x, y, level) for y in rows for x in columns])
        assert grid.mean(case.z).ravel() == pytest.approx(mean, abs=1e-6)
        assert grid.sd().ravel() == pytest.approx(np.sqrt(np.diag(covariance) + case.rough**2), abs=1e-6)


def test_a_free_constant_is_the_limit_of_a_prior_that_grows():
    """F P F' over all columns, the constants' variance a million kelvin squared: no least squares anywhere."""
    case = CASES["all of it"]
    at = list(zip(*query(1), strict=True))
    v, k, prior = case.joint(at)
    free, free_at = case.trends(case.places())[0], case.trends(at)[0]
    v, k, prior = v + 1e6 * free @ free.T, k + 1e6 * free_at @ free.T, prior + 1e6 * free_at @ free_at.T
    centred = case.z - case.z.mean()
    mean = case.z.mean() + k @ np.linalg.solve(v, centred)
    covariance = prior - k @ np.linalg.solve(v, k.T)
    x, y, _ = query(1)
    assert case.model().mean_at(case.z, x, y, 1) == pytest.approx(mean, abs=1e-3)
    assert case.model().sd_at(x, y, 1) ** 2 == pytest.approx(np.diag(covariance) + case.rough**2, abs=1e-3)


def block(x0, x1, y0, y1, columns, rows):
    x = x0 + (np.arange(columns) + 0.5) / columns * (x1 - x0)
    y = y0 + (np.arange(rows) + 0.5) / rows * (y1 - y0)
    xx, yy = np.meshgrid(x, y)
    return xx.ravel(), yy.ravel()


@EACH
def test_blocks_are_the_averages_of_point_kriging(case):
    shapes = [(0.0, 0.4, 0.0, 0.25), (0.4, 1.2, 0.0, 0.25), (0.0, LENGTH, 0.0, WIDTH)]
    points = [block(*s, 6, 4) for s in shapes]
    for level in range(len(case.sigma)):
        weights, covariance = case.model().blocks(points, level)
        at = [(x, y, level) for xs, ys in points for x, y in zip(xs, ys, strict=True)]
        mean, between = case.posterior(at)
        average = np.kron(np.eye(len(points)), np.full((1, 24), 1 / 24))
        assert weights @ case.z == pytest.approx(average @ mean, abs=1e-6)
        assert covariance == pytest.approx(average @ between @ average.T, abs=1e-6)


def test_few_points_a_block_do_for_many():
    """What the chamber uses for a zone, 9 by 6 points, against 60 by 40: hundredths of a kelvin, the walls'."""
    case = CASES["all of it"]
    shapes = [(0.0, 0.4, 0.0, 0.25), (0.4, 1.2, 0.0, 0.5), (0.0, LENGTH, 0.0, WIDTH)]
    few, few_covariance = case.model().blocks([block(*s, 9, 6) for s in shapes])
    many, many_covariance = case.model().blocks([block(*s, 60, 40) for s in shapes])
    assert few @ case.z == pytest.approx(many @ case.z, abs=0.05)
    assert np.sqrt(np.diag(few_covariance)) == pytest.approx(np.sqrt(np.diag(many_covariance)), abs=0.01)


@EACH
def test_evidence_is_the_likelihood_of_contrasts(case):
    """Differences between two sets of scales against scipy's normal density of the contrasts."""

    def both(**scales):
        other = Case(**{**vars_of(case), **scales})
        contrast = null_space(other.trends(other.places())[0].T)
        v, _, _ = other.joint(other.places()[:1])
        normal = multivariate_normal(np.zeros(contrast.shape[1]), contrast.T @ v @ contrast)
        return other.model().evidence(other.z), normal.logpdf(contrast.T @ other.z)

    ours, theirs = np.array(
        [
            both(),
            both(sigma=tuple(1.7 * s for s in case.sigma)),
            both(length_x=0.2, length_y=0.6),
            both(rough=case.rough + 0.5),
        ]
    ).T
    assert np.ptp(theirs) > 0.1
    assert ours - ours[0] == pytest.approx(theirs - theirs[0], abs=1e-6)


def vars_of(case):
    return {name: getattr(case, name) for name in Case.__dataclass_fields__}


@EACH
def test_leaving_one_out_is_leaving_it_out(case):
    residual, deviation = case.model().leave_one_out(case.z)
    for i in range(case.z.size):
        keep = np.arange(case.z.size) != i
        without = case.model(keep)
        x, y, level = case.x[i : i + 1], case.y[i : i + 1], int(case.level[i])
        assert case.z[i] - without.mean_at(case.z[keep], x, y, level)[0] == pytest.approx(residual[i], abs=1e-6)
        assert math.hypot(without.sd_at(x, y, level)[0], case.noise[i]) == pytest.approx(deviation[i], abs=1e-6)


def test_a_probe_the_trend_rests_on_cannot_be_left_out():
    model = FieldModel(
        np.array([0.1, 0.5, 0.9]), np.array([0.2, 0.3, 0.2]), np.full(3, 0.5), sigma_kelvin=[3.0, 6.0],
        length_x_m=0.3, length_y_m=0.3, level=np.array([0, 0, 1]), slope_sd_kelvin_per_m=20.0,
    )  # fmt: skip
    residual, deviation = model.leave_one_out(np.array([110.0, 107.0, 150.0]))
    assert np.isfinite(residual).tolist() == np.isfinite(deviation).tolist() == [True, True, False]


@pytest.mark.parametrize("seed", range(4))
def test_the_mean_equals_a_gaussian_process_library(seed):
    """scikit-learn has no free trend: it is given what the trend leaves, and the trend is added again."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, LENGTH, 10), rng.uniform(0, WIDTH, 10)
    z = 112 - 9 * x + rng.normal(0, 3, 10)
    noise = rng.uniform(0.4, 1.2, 10)
    ours = FieldModel(x, y, noise, sigma_kelvin=4.0, length_x_m=0.4, length_y_m=0.25, trend="along")
    level, slope = ours.weights(z)[10:]
    kernel = ConstantKernel(16.0, "fixed") * RBF([0.4, 0.25], "fixed")
    library = GaussianProcessRegressor(kernel, alpha=noise**2, optimizer=None)
    library.fit(np.column_stack([x, y]), z - level - slope * x)
    qx, qy = rng.uniform(0, LENGTH, 25), rng.uniform(0, WIDTH, 25)
    expected = library.predict(np.column_stack([qx, qy])) + level + slope * qx
    assert ours.mean_at(z, qx, qy) == pytest.approx(expected, abs=1e-6)
