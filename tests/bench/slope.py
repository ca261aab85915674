"""Row 17: the slope of half an hour at one value a second, against scipy's exact Theil–Sen.

The error is counted against the true slope, over many records with noise, a saw-tooth's rest and outliers.
"""

import numpy as np
from scipy.stats import theilslopes

from collector.model.field import Array
from collector.model.slope import bin_medians, slope_of_bins
from tests.bench.measure import Effort, Finding, ratio, seconds_of, turns

__all__ = ["Records", "measure"]

SECONDS = 1800
PER_BIN = 6
"""As the engine does: half a minute at a look every five seconds. Even bins err less than odd ones, their median being
the mean of two values."""


class Records:
    """Records whose slope is known."""

    def __init__(self, count: int, seed: int = 7) -> None:
        random = np.random.default_rng(seed)
        self._t = np.arange(SECONDS, dtype=np.float64)
        self._true = random.uniform(-15, 15, count) / 3600
        noise = random.normal(0, 0.5, (count, SECONDS))
        outlier = random.random((count, SECONDS)) < 0.02
        noise[outlier] += random.choice((-12.0, 9.0), int(outlier.sum()))
        self._values: Array = 113 + self._true[:, None] * self._t + noise
        self._turn = 0

    def _next(self) -> Array:
        self._turn = (self._turn + 1) % len(self._values)
        return self._values[self._turn]

    def ours(self) -> float:
        """Slope of one record, kelvin a second."""
        return float(slope_of_bins(bin_medians(self._next(), PER_BIN), PER_BIN))

    def exact(self) -> float:
        """The same by scipy."""
        return float(theilslopes(self._next(), self._t)[0])

    def errors(self) -> tuple[float, float]:
        """Root mean square errors of ours and of the exact estimate, kelvin an hour."""
        found = []
        for way in (self.ours, self.exact):
            self._turn = -1
            slopes = np.array([way() for _ in self._true])
            found.append(3600 * float(np.sqrt(np.mean((slopes - self._true) ** 2))))
        return found[0], found[1]


def measure(effort: Effort) -> list[Finding]:
    """Compare errors and CPU time."""
    records = Records(effort.of(100, 40))
    our_error, exact_error = records.errors()
    exact, ours = turns(effort.of(5, 3), (lambda: seconds_of(records.exact, 3), lambda: seconds_of(records.ours, 300)))
    middle, low, high = ratio(exact, ours)
    worse = our_error / exact_error
    note = f"{1e3 * min(ours):.3f} against {1e3 * min(exact):.1f} ms a slope (least), bins of {PER_BIN} s"
    errors = f"{our_error:.4f} against {exact_error:.4f} K/h over {effort.of(100, 40)} records"
    return [
        Finding(17, "slope, scipy theilslopes / ours", middle, "x", 100, None, True, low, high, note),
        Finding(17, "the same, rms error ours / exact", worse, "x", 1.15, None, False, worse, worse, errors),
    ]
