"""Row 11: one frame of the heat map, 120 x 80 points from 16 probes, against scipy's RBFInterpolator.

Kriging with a linear trend and an interpolator with a polynomial and smoothing are the same thing under two names
(dual kriging), so both must give the same field to the last digits.
"""

import numpy as np
from scipy.interpolate import RBFInterpolator

from collector.model.field import Array, FieldModel, Grid
from tests.bench.measure import Effort, Finding, ratio, seconds_of, turns
from tests.bench.pit import PLACES_M, values_of

__all__ = ["Frames", "measure"]

SIGMA, LENGTH_X, LENGTH_Y, NOISE = 12.0, 0.45, 0.3, 1.0
X_M, Y_M = np.linspace(0, 1.2, 120), np.linspace(0, 0.5, 80)


class Frames:
    """Both ways to the same frame, each call with new values."""

    def __init__(self) -> None:
        self._x, self._y = np.array(PLACES_M).T
        self._values = values_of(64)
        self._turn = 0
        self._grid = self._made(np.arange(16))
        xx, yy = np.meshgrid(X_M / LENGTH_X, Y_M / LENGTH_Y)
        self._points = np.column_stack([xx.ravel(), yy.ravel()])

    def _made(self, used: np.ndarray) -> Grid:
        model = FieldModel(
            self._x[used], self._y[used], np.full(used.size, NOISE),
            sigma_kelvin=SIGMA, length_x_m=LENGTH_X, length_y_m=LENGTH_Y, trend="plane",
        )  # fmt: skip
        return Grid(model, X_M, Y_M)

    def _next(self) -> Array:
        self._turn += 1
        return self._values[self._turn % len(self._values)]

    def ours(self) -> Array:
        """Draw with the same probes as before."""
        return self._grid.mean(self._next())

    def ours_without(self, probe: int = 3) -> Array:
        """Draw when a probe has just been lost: factor anew, then draw."""
        used = np.delete(np.arange(16), probe)
        return self._made(used).mean(self._next()[used])

    def theirs(self, used: "np.ndarray | slice" = slice(None)) -> Array:
        """Draw with scipy."""
        places = np.column_stack([self._x[used] / LENGTH_X, self._y[used] / LENGTH_Y])
        rbf = RBFInterpolator(
            places,
            self._next()[used],
            kernel="gaussian",
            epsilon=np.sqrt(0.5),
            smoothing=(NOISE / SIGMA) ** 2,
            degree=1,
        )
        return rbf(self._points).reshape(80, 120)

    def difference(self, frames: int) -> float:
        """Greatest difference over so many frames, with and without a lost probe, kelvin."""
        used = np.delete(np.arange(16), 3)
        worst = 0.0
        for _ in range(frames):
            turn = self._turn
            for ours, subset in ((self.ours, slice(None)), (self.ours_without, used)):
                self._turn = turn
                frame = ours()
                self._turn = turn
                worst = max(worst, float(np.abs(frame - self.theirs(subset)).max()))
        return worst


def measure(effort: Effort) -> list[Finding]:
    """Compare CPU time a frame and the frames themselves."""
    f = Frames()
    worst = f.difference(effort.of(20, 5))
    ours, lost, theirs = turns(
        effort.of(9, 5),
        (
            lambda: seconds_of(f.ours, 400),
            lambda: seconds_of(f.ours_without, 100),
            lambda: seconds_of(f.theirs, 20),
        ),
    )
    least = f"{1e3 * min(ours):.3f} and {1e3 * min(lost):.3f} against {1e3 * min(theirs):.2f} ms a frame (least)"
    return [
        Finding(11, "heat-map frame, scipy RBF / ours", *_turned(ratio(theirs, ours)), least),
        Finding(11, "the same, a probe lost that tick", *_turned(ratio(theirs, lost), 8.0)),
        Finding(11, "the same, greatest difference", worst, " K", 1e-9, 1e-11, False, worst, worst),
    ]


def _turned(r: tuple[float, float, float], floor: float = 40.0) -> tuple[float, str, float, None, bool, float, float]:
    return r[0], "x", floor, None, True, r[1], r[2]
