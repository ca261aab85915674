"""How even a chamber is.

The quantities are those of IEC 60068-3-5 (confirmation of the performance of temperature chambers), their wording
from memory, taken over the grate probes instead of the corners of an empty working space:

- fluctuation: difference between the greatest and the least temperature at one point in a stated interval, after
  stabilisation;
- gradient: greatest difference, at any moment, of the mean temperatures of two separate points;
- variation in space: difference between the mean temperature of the centre and that of another point.

The spread is ours: hottest zone less coldest at one moment.
"""

import numpy as np

from collector.model.field import Array
from collector.model.robust import median

__all__ = ["along", "fluctuation", "gradient", "spread", "top_to_grate", "variation_in_space"]


def fluctuation(celsius: Array) -> Array:
    """Swing of each point, kelvin, shape (n,), from its record, shape (n, times); NaN where it has no value."""
    known = np.isfinite(celsius)
    high = np.where(known, celsius, -np.inf).max(axis=1, initial=-np.inf)
    low = np.where(known, celsius, np.inf).min(axis=1, initial=np.inf)
    return np.where(known.any(axis=1), high - low, np.nan)


def _means(celsius: Array) -> Array:
    known = np.isfinite(celsius)
    count = known.sum(axis=1)
    total = np.where(known, celsius, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def gradient(celsius: Array) -> float:
    """Greatest difference between the means of two points, kelvin, from records of shape (n, times)."""
    return spread(_means(celsius))


def variation_in_space(celsius: Array, centre: int) -> Array:
    """Mean of the centre less mean of each point, kelvin, shape (n,), from records of shape (n, times)."""
    means = _means(celsius)
    return np.asarray(means[centre] - means)


def spread(celsius: Array) -> float:
    """Greatest less least of the known values, kelvin; NaN with fewer than two."""
    known = celsius[np.isfinite(celsius)]
    return float(known.max() - known.min()) if known.size >= 2 else float("nan")


def along(x_m: Array, celsius: Array, length_m: float) -> float:
    """Fire end less stack end by the least-squares line through the points, kelvin over the whole length."""
    known = np.isfinite(celsius)
    if known.sum() < 3:
        return float("nan")
    x, t = x_m[known], celsius[known]
    x = x - x.mean()
    denominator = float(x @ x)
    return float("nan") if denominator < 1e-9 else -float(x @ (t - t.mean())) / denominator * length_m


def top_to_grate(top_celsius: Array, grate_celsius_below: Array) -> float:
    """Median difference of the air under the lid and the grate right below each top probe, kelvin."""
    difference = top_celsius - grate_celsius_below
    return float(median(difference))
