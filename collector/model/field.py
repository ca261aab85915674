"""The temperature field of a level from its probes: universal kriging with a measurement-noise term.

The covariance is sigma² exp(−dx²/(2 lx²) − dy²/(2 ly²)), the trend a constant, a line along the pit or a plane, the
noise of each probe its own tolerance. In dual form (Wackernagel, *Multivariate Geostatistics*, ch. 11 and 38) the
mean is k(p)·α + f(p)·β, and because this covariance separates in x and y a frame of G cells costs two small matrix
products: nothing of size cells × probes is ever stored.
"""

from collections.abc import Callable
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "FieldModel", "Grid", "Trend", "gaussian"]

Array = NDArray[np.float64]
Trend = Literal["constant", "along", "plane"]
Covariance = Callable[[Array, Array], Array]
"""Takes differences dx and dy in units of their length scales, gives the correlation."""


def gaussian(dx: Array, dy: Array) -> Array:
    """Correlation of a very smooth field, dx and dy in units of their length scales."""
    return np.asarray(np.exp(-0.5 * (dx * dx + dy * dy)))


class FieldModel:
    """Places, noise and covariance, factored once; values come and go at no cost.

    Args:
        x_m: places along the pit, shape (n,), metres.
        y_m: places across it, shape (n,), metres.
        noise_kelvin: standard deviation of each probe, shape (n,), kelvin.
        sigma_kelvin: standard deviation of the field about its trend.
        length_x_m: length scale along the pit.
        length_y_m: length scale across it.
        trend: `constant`, `along` (constant and x) or `plane` (constant, x and y). A trend that the places cannot
            carry (too few, or all in a line) is lowered until they can.
        correlation: the correlation function; only the Gaussian one allows `Grid`.

    Raises:
        ValueError: no places, shapes that differ, or a scale that is not positive.
    """

    def __init__(
        self,
        x_m: Array,
        y_m: Array,
        noise_kelvin: Array,
        *,
        sigma_kelvin: float,
        length_x_m: float,
        length_y_m: float,
        trend: Trend = "along",
        correlation: Covariance = gaussian,
    ) -> None:
        self.x_m = np.asarray(x_m, dtype=np.float64)
        self.y_m = np.asarray(y_m, dtype=np.float64)
        self.noise_kelvin = np.asarray(noise_kelvin, dtype=np.float64)
        if self.x_m.size == 0 or not self.x_m.shape == self.y_m.shape == self.noise_kelvin.shape:
            raise ValueError("x_m, y_m and noise_kelvin need one equal shape (n,), n at least 1")
        if min(sigma_kelvin, length_x_m, length_y_m) <= 0 or np.any(self.noise_kelvin < 0):
            raise ValueError("sigma and length scales must be positive, noise not negative")
        self.sigma_kelvin = sigma_kelvin
        self.length_x_m = length_x_m
        self.length_y_m = length_y_m
        self.correlation = correlation
        self.trend = self._trend_carried(trend)
        n = self.x_m.size
        basis = self._basis(self.x_m, self.y_m)
        p = basis.shape[1]
        system = np.zeros((n + p, n + p))
        system[:n, :n] = self._covariance(self.x_m, self.y_m) + np.diag(self.noise_kelvin**2)
        system[:n, n:] = basis
        system[n:, :n] = basis.T
        self._inverse: Array = np.linalg.inv(system)

    def _trend_carried(self, trend: Trend) -> Trend:
        """Lower a trend that these places cannot tell from a constant."""
        n = self.x_m.size
        if trend == "plane":
            plane = np.column_stack([np.ones(n), self.x_m, self.y_m])
            if n > 3 and np.linalg.matrix_rank(plane, tol=1e-6) == 3:
                return "plane"
            trend = "along"
        if trend == "along" and n > 2 and np.ptp(self.x_m) > 0.05 * self.length_x_m:
            return "along"
        return "constant"

    def _basis(self, x_m: Array, y_m: Array) -> Array:
        columns = [np.ones(x_m.size)]
        if self.trend != "constant":
            columns.append(x_m)
        if self.trend == "plane":
            columns.append(y_m)
        return np.column_stack(columns)

    def _covariance(self, x_m: Array, y_m: Array) -> Array:
        dx = (x_m[:, None] - self.x_m[None, :]) / self.length_x_m
        dy = (y_m[:, None] - self.y_m[None, :]) / self.length_y_m
        return np.asarray(self.sigma_kelvin**2 * self.correlation(dx, dy))

    def weights(self, celsius: Array) -> Array:
        """Solve for α and β, shape (n + p,), from the probes' values, shape (n,), degrees Celsius."""
        n = self.x_m.size
        return np.asarray(self._inverse[:, :n] @ np.asarray(celsius, dtype=np.float64))

    def mean_at(self, celsius: Array, x_m: Array, y_m: Array) -> Array:
        """Give the mean of the field at places, shape (m,), degrees Celsius."""
        x_m, y_m = np.atleast_1d(x_m), np.atleast_1d(y_m)
        left = np.hstack([self._covariance(x_m, y_m), self._basis(x_m, y_m)])
        return np.asarray(left @ self.weights(celsius))

    def sd_at(self, x_m: Array, y_m: Array) -> Array:
        """Give the standard deviation of the field (no probe's noise added) at places, shape (m,), kelvin."""
        x_m, y_m = np.atleast_1d(x_m), np.atleast_1d(y_m)
        left = np.hstack([self._covariance(x_m, y_m), self._basis(x_m, y_m)])
        variance = self.sigma_kelvin**2 - np.einsum("ij,jk,ik->i", left, self._inverse, left, optimize=True)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))

    def block(self, x_m: Array, y_m: Array) -> tuple[Array, float]:
        """Krige the mean over a block given by points in it, shape (m,), metres.

        Returns:
            Weights of the probes, shape (n,), whose product with their values is the block's mean, and its standard
            deviation, kelvin (block kriging; Wackernagel, ch. 11).
        """
        left = np.hstack([self._covariance(x_m, y_m), self._basis(x_m, y_m)]).mean(axis=0)
        dx = (x_m[:, None] - x_m[None, :]) / self.length_x_m
        dy = (y_m[:, None] - y_m[None, :]) / self.length_y_m
        within = self.sigma_kelvin**2 * float(self.correlation(dx, dy).mean())
        variance = within - float(left @ self._inverse @ left)
        return left @ self._inverse[:, : self.x_m.size], float(np.sqrt(max(variance, 0.0)))

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
    """

    def __init__(self, model: FieldModel, x_m: Array, y_m: Array) -> None:
        if model.correlation is not gaussian:
            raise ValueError("only the Gaussian correlation separates in x and y")
        self.model = model
        self.x_m = np.asarray(x_m, dtype=np.float64)
        self.y_m = np.asarray(y_m, dtype=np.float64)
        zero = np.zeros(self.x_m.size)
        dx = (self.x_m[:, None] - model.x_m[None, :]) / model.length_x_m
        dy = (self.y_m[:, None] - model.y_m[None, :]) / model.length_y_m
        nothing_x, nothing_y = np.zeros_like(dx), np.zeros_like(dy)
        self._kx: Array = np.ascontiguousarray(gaussian(dx, nothing_x).T)
        self._ky: Array = model.sigma_kelvin**2 * gaussian(nothing_y, dy)
        self._fx: Array = model._basis(self.x_m, zero)

    def mean(self, celsius: Array) -> Array:
        """Draw the mean, shape (h, w), degrees Celsius, from the probes' values, shape (n,)."""
        n = self.model.x_m.size
        weights = self.model.weights(celsius)
        alpha, beta = weights[:n], weights[n:]
        frame = (self._ky * alpha) @ self._kx
        along = self._fx[:, :2] @ beta[:2]
        frame += along
        if beta.size == 3:
            frame += (self.y_m * beta[2])[:, None]
        return np.asarray(frame)

    def sd(self) -> Array:
        """Draw the standard deviation, shape (h, w), kelvin. It changes only with the set of probes."""
        xx, yy = np.meshgrid(self.x_m, self.y_m)
        return self.model.sd_at(xx.ravel(), yy.ravel()).reshape(xx.shape)
