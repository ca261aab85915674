"""The temperature field of a chamber from its probes: universal kriging with a measurement-noise term.

The covariance is sigma² exp(−dx²/(2 lx²) − dy²/(2 ly²)) within a level; two levels are tied by one correlation. The
trend of each level is a constant, a line along the pit or a plane, and what the walls add across it; the noise of
each probe its own tolerance. In dual form (Wackernagel, *Multivariate Geostatistics*, ch. 11 and 38) the mean is
k(p)·α + f(p)·β, and because this covariance separates in x and y a frame of G cells costs two small matrix products:
nothing of size cells × probes is ever stored. Trend coefficients with a prior are the same equations with the
inverse prior variance on the diagonal (Rasmussen and Williams, *Gaussian Processes for Machine Learning*, 2.7).
"""

import math
from collections.abc import Callable, Sequence
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "FieldModel", "Firebox", "Grid", "Trend", "Walls", "gaussian"]

Array = NDArray[np.float64]
Trend = Literal["constant", "along", "plane"]
Covariance = Callable[[Array, Array], Array]
"""Takes differences dx and dy in units of their length scales, gives the correlation."""


def gaussian(dx: Array | np.float64, dy: Array | np.float64) -> Array:
    """Correlation of a very smooth field, dx and dy in units of their length scales."""
    return np.asarray(np.exp(-0.5 * (dx * dx + dy * dy)))


def _in_a_line(x: Array, y: Array) -> bool:
    """Tell whether places lie in one line: across it they scatter by less than a micrometre in all."""
    dx, dy = x - x.sum() / x.size, y - y.sum() / y.size
    xx, yy, xy = float(dx @ dx), float(dy @ dy), float(dx @ dy)
    # the lesser root of the scatter's characteristic polynomial, as the product of both over the greater
    greater = 0.5 * (xx + yy) + math.hypot(0.5 * (xx - yy), xy)
    return greater <= 0.0 or (xx * yy - xy * xy) / greater < 1e-12


class Walls(msgspec.Struct, frozen=True):
    """What front and back wall do to the field: kelvin × ((2 y / width − 1)² − 1/3), a share unknown but bounded."""

    width_m: float
    sd_kelvin: float
    """Standard deviation of the difference between wall and middle line before any probe has spoken."""

    def profile(self, y_m: Array) -> Array:
        """Give the shape of the profile, without mean, at places across the pit."""
        off_middle = 2.0 * y_m / self.width_m - 1.0
        return np.asarray(off_middle * off_middle - 1.0 / 3.0)


class Firebox(msgspec.Struct, frozen=True):
    """What the heat of the firebox adds near it: kelvin × exp(−x / reach), a share unknown but bounded."""

    reach_m: float
    sd_kelvin: float
    """Standard deviation of what it adds at the wall of the firebox before any probe has spoken."""

    def profile(self, x_m: Array) -> Array:
        """Give the shape of the profile at places along the pit."""
        return np.asarray(np.exp(-x_m / self.reach_m))


class _Column(msgspec.Struct, frozen=True):
    """One column of the trend: a function of place on one level, and the precision of its prior."""

    level: int
    shape: Literal["one", "x", "y", "walls", "firebox"]
    precision: float


class FieldModel:
    """Places, noise and covariance, factored once; values come and go at no cost.

    Args:
        x_m: places along the pit, shape (n,), metres.
        y_m: places across it, shape (n,), metres.
        noise_kelvin: standard deviation of each probe, shape (n,), kelvin.
        sigma_kelvin: standard deviation of the field about its trend; one for each level where there are several.
        length_x_m: length scale along the pit.
        length_y_m: length scale across it.
        trend: `constant`, `along` (constant and x) or `plane` (constant, x and y), for each level. A trend without
            prior that the places cannot carry (too few, or all in a line) is lowered until they can.
        correlation: the correlation function; only the Gaussian one allows `Grid`.
        level: which level each place lies on, shape (n,), from 0; one level when None.
        level_correlation: of the fields of two levels, place by place.
        rough_kelvin: standard deviation of what varies between any two places however near: no probe tells of it
            anywhere but at its own tip.
        walls: the profile across the pit.
        firebox: the profile along it.
        slope_sd_kelvin_per_m: prior of the trend's slope; infinite for none.

    Raises:
        ValueError: no places, shapes that differ, or a scale that is not positive.
    """

    def __init__(
        self,
        x_m: Array,
        y_m: Array,
        noise_kelvin: Array,
        *,
        sigma_kelvin: float | Sequence[float],
        length_x_m: float,
        length_y_m: float,
        trend: Trend = "along",
        correlation: Covariance = gaussian,
        level: NDArray[np.intp] | None = None,
        level_correlation: float = 0.0,
        rough_kelvin: float = 0.0,
        walls: Walls | None = None,
        firebox: Firebox | None = None,
        slope_sd_kelvin_per_m: float = math.inf,
    ) -> None:
        self.x_m = np.asarray(x_m, dtype=np.float64)
        self.y_m = np.asarray(y_m, dtype=np.float64)
        self.noise_kelvin = np.asarray(noise_kelvin, dtype=np.float64)
        self.level = np.zeros(self.x_m.size, dtype=np.intp) if level is None else np.asarray(level, dtype=np.intp)
        shape = self.x_m.shape
        if self.x_m.size == 0 or not shape == self.y_m.shape == self.noise_kelvin.shape == self.level.shape:
            raise ValueError("x_m, y_m, noise_kelvin and level need one equal shape (n,), n at least 1")
        self.sigma_kelvin = np.atleast_1d(np.asarray(sigma_kelvin, dtype=np.float64))
        scales = (*self.sigma_kelvin.tolist(), length_x_m, length_y_m, slope_sd_kelvin_per_m)
        if min(scales) <= 0 or np.any(self.noise_kelvin < 0) or rough_kelvin < 0:
            raise ValueError("sigma, slope and length scales must be positive, noise and roughness not negative")
        if self.level.min() < 0 or self.level.max() >= self.sigma_kelvin.size:
            raise ValueError("every level needs its sigma")
        self.length_x_m = length_x_m
        self.length_y_m = length_y_m
        self.correlation = correlation
        self.rough_kelvin = rough_kelvin
        self.walls, self.firebox = walls, firebox
        tie: Array = np.full((self.sigma_kelvin.size,) * 2, level_correlation)
        np.fill_diagonal(tie, 1.0)
        self._tie: Array = tie * np.outer(self.sigma_kelvin, self.sigma_kelvin)
        self._columns = self._trend_columns(trend, slope_sd_kelvin_per_m)
        n, p = self.x_m.size, len(self._columns)
        basis = self._basis(self.x_m, self.y_m, self.level)
        system = np.zeros((n + p, n + p))
        noise = self.noise_kelvin**2 + rough_kelvin**2
        system[:n, :n] = self._covariance(self.x_m, self.y_m, self.level) + np.diag(noise)
        system[:n, n:] = basis
        system[n:, :n] = basis.T
        system[n:, n:] = -np.diag([column.precision for column in self._columns])
        self._inverse: Array = np.asarray(np.linalg.inv(system), dtype=np.float64)

    def _trend_columns(self, trend: Trend, slope_sd: float) -> list[_Column]:
        columns: list[_Column] = []
        for level in range(self.sigma_kelvin.size):
            if level not in self.level:
                continue
            carried = self._trend_carried(trend, level) if math.isinf(slope_sd) else trend
            columns.append(_Column(level, "one", 0.0))
            if carried != "constant":
                columns.append(_Column(level, "x", slope_sd**-2))
            if carried == "plane":
                columns.append(_Column(level, "y", slope_sd**-2))
            if self.walls is not None:
                columns.append(_Column(level, "walls", self.walls.sd_kelvin**-2))
            if self.firebox is not None:
                columns.append(_Column(level, "firebox", self.firebox.sd_kelvin**-2))
        return columns

    def _trend_carried(self, trend: Trend, level: int) -> Trend:
        """Lower a trend that the places of this level cannot tell from a constant."""
        here = self.level == level
        x, y = self.x_m[here], self.y_m[here]
        if trend == "plane":
            if x.size > 3 and not _in_a_line(x, y):
                return "plane"
            trend = "along"
        if trend == "along" and x.size > 2 and np.ptp(x) > 0.05 * self.length_x_m:
            return "along"
        return "constant"

    def _basis(self, x_m: Array, y_m: Array, level: NDArray[np.intp]) -> Array:
        basis = np.zeros((x_m.size, len(self._columns)))
        for k, column in enumerate(self._columns):
            basis[:, k] = (level == column.level) * self._shape(column, x_m, y_m)
        return basis

    def _shape(self, column: _Column, x_m: Array, y_m: Array) -> Array:
        match column.shape:
            case "one":
                return np.ones_like(x_m + y_m)
            case "x":
                return x_m
            case "y":
                return y_m
            case "walls":
                assert self.walls is not None
                return self.walls.profile(y_m)
            case "firebox":
                assert self.firebox is not None
                return self.firebox.profile(x_m)

    def _covariance(self, x_m: Array, y_m: Array, level: NDArray[np.intp]) -> Array:
        """Give the covariance of places with the probes, shape (m, n); roughness is no part of it."""
        dx = (x_m[:, None] - self.x_m[None, :]) / self.length_x_m
        dy = (y_m[:, None] - self.y_m[None, :]) / self.length_y_m
        return np.asarray(self._tie[np.ix_(level, self.level)] * self.correlation(dx, dy))

    def _left(self, x_m: Array, y_m: Array, level: int) -> Array:
        where = np.full(x_m.size, level, dtype=np.intp)
        return np.hstack([self._covariance(x_m, y_m, where), self._basis(x_m, y_m, where)])

    def weights(self, celsius: Array) -> Array:
        """Solve for α and β, shape (n + p,), from the probes' values, shape (n,), degrees Celsius."""
        n = self.x_m.size
        return np.asarray(self._inverse[:, :n] @ np.asarray(celsius, dtype=np.float64))

    def evidence(self, celsius: Array) -> float:
        """Give the log of the restricted likelihood of the values, shape (n,), less what all scales share.

        The determinant of the whole system is that of the covariance times that of the trend's precision (Patterson
        and Thompson, *Biometrika* 58, 1971).
        """
        n = self.x_m.size
        log_determinant = -float(np.linalg.slogdet(self._inverse)[1])
        return -0.5 * (log_determinant + float(celsius @ self._inverse[:n, :n] @ celsius))

    def mean_at(self, celsius: Array, x_m: Array, y_m: Array, level: int = 0) -> Array:
        """Give the mean of the field at places of a level, shape (m,), degrees Celsius."""
        return np.asarray(self._left(np.atleast_1d(x_m), np.atleast_1d(y_m), level) @ self.weights(celsius))

    def sd_at(self, x_m: Array, y_m: Array, level: int = 0) -> Array:
        """Give the standard deviation of the field (no probe's noise added) at places, shape (m,), kelvin."""
        left = self._left(np.atleast_1d(x_m), np.atleast_1d(y_m), level)
        own = self._tie[level, level] + self.rough_kelvin**2
        variance = own - np.einsum("ij,jk,ik->i", left, self._inverse, left, optimize=True)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))

    def difference_sd(self, a_m: tuple[float, float], b_m: tuple[float, float], level: int = 0) -> float:
        """Give the standard deviation of the difference between two places of a level, kelvin."""
        x, y = np.array([a_m[0], b_m[0]]), np.array([a_m[1], b_m[1]])
        left = self._left(x, y, level)
        across = self._between(x, y, x, y)
        own = self._tie[level, level] * (across[0, 0] + across[1, 1] - 2.0 * across[0, 1])
        row = left[0] - left[1]
        variance = own + 2.0 * self.rough_kelvin**2 - float(row @ self._inverse @ row)
        return math.sqrt(max(variance, 0.0))

    def _between(self, x_m: Array, y_m: Array, to_x_m: Array, to_y_m: Array) -> Array:
        dx = (x_m[:, None] - to_x_m[None, :]) / self.length_x_m
        dy = (y_m[:, None] - to_y_m[None, :]) / self.length_y_m
        return self.correlation(dx, dy)

    def blocks(self, blocks: Sequence[tuple[Array, Array]], level: int = 0) -> tuple[Array, Array]:
        """Krige the means over blocks of a level, each given by points in it: x and y, shape (m,), metres.

        Returns:
            Weights of the probes, shape (blocks, n), whose product with their values is the blocks' means, and the
            covariance of the blocks' means, shape (blocks, blocks), kelvin² (block kriging; Wackernagel, ch. 11).
        """
        left = np.array([self._left(x, y, level).mean(axis=0) for x, y in blocks])
        within = np.array([[self._between(*a, *b).mean() for b in blocks] for a in blocks])
        variance = self._tie[level, level] * within - left @ self._inverse @ left.T
        return left @ self._inverse[:, : self.x_m.size], variance

    def leave_one_out(self, celsius: Array) -> tuple[Array, Array]:
        """Predict each probe from the others: residuals (value less prediction) and their deviations, kelvin.

        From the inverse alone (Dubrule, *Math. Geol.* 15, 1983): r_i = α_i / Q_ii, variance 1 / Q_ii. Both NaN where
        a probe cannot be left out because the trend rests on it.
        """
        n = self.x_m.size
        diagonal = np.diag(self._inverse)[:n]
        alpha = self.weights(celsius)[:n]
        with np.errstate(divide="ignore", invalid="ignore"):
            usable = diagonal > 1e-9
            residual = np.where(usable, alpha / diagonal, np.nan)
            deviation = np.where(usable, np.sqrt(1.0 / np.where(usable, diagonal, 1.0)), np.nan)
        return residual, deviation


class Grid:
    """A field drawn on a fixed grid: what depends on places only is worked out once.

    Args:
        model: the factored field, with the Gaussian correlation.
        x_m: centres of the columns, shape (w,), metres.
        y_m: centres of the rows, shape (h,), metres.
        level: which level is drawn.
    """

    def __init__(self, model: FieldModel, x_m: Array, y_m: Array, level: int = 0) -> None:
        if model.correlation is not gaussian:
            raise ValueError("only the Gaussian correlation separates in x and y")
        self.model = model
        self.level = level
        self.x_m = np.asarray(x_m, dtype=np.float64)
        self.y_m = np.asarray(y_m, dtype=np.float64)
        dx = (self.x_m[None, :] - model.x_m[:, None]) / model.length_x_m
        dy = (self.y_m[:, None] - model.y_m[None, :]) / model.length_y_m
        self._kx: Array = gaussian(dx, np.float64(0.0))
        self._ky: Array = model._tie[level, model.level] * gaussian(np.float64(0.0), dy)
        along = [c.level == level and c.shape in ("one", "x", "firebox") for c in model._columns]
        across = [c.level == level and c.shape in ("y", "walls") for c in model._columns]
        here = np.full(self.x_m.size, level, dtype=np.intp)
        self._along: Array = model._basis(self.x_m, np.zeros_like(self.x_m), here) * along
        there = np.full(self.y_m.size, level, dtype=np.intp)
        self._across: Array = model._basis(np.zeros_like(self.y_m), self.y_m, there) * across

    def mean(self, celsius: Array) -> Array:
        """Draw the mean, shape (h, w), degrees Celsius, from the probes' values, shape (n,)."""
        n = self.model.x_m.size
        weights = self.model.weights(celsius)
        alpha, beta = weights[:n], weights[n:]
        frame = (self._ky * alpha) @ self._kx
        frame += self._along @ beta
        frame += (self._across @ beta)[:, None]
        return np.asarray(frame)

    def sd(self) -> Array:
        """Draw the standard deviation, shape (h, w), kelvin. It changes only with the set of probes."""
        xx, yy = np.meshgrid(self.x_m, self.y_m)
        return self.model.sd_at(xx.ravel(), yy.ravel(), self.level).reshape(xx.shape)
