"""Medians and quantiles of what is known; NaN is what is not.

numpy's own bring its masked arrays in with them, 6 MB that nothing else here needs.
"""

from collections.abc import Sequence

import numpy as np

from collector.model.field import Array

__all__ = ["median", "quantiles"]

FEW = 40


def median(values: Array) -> Array:
    """Give the median along the last axis, shape (...,), of values (..., n), NaN left out; NaN where all are.

    >>> float(median(np.array([3.0, np.nan, 1.0])))
    2.0
    """
    if values.shape[-1] == 0:
        return np.full(values.shape[:-1], np.nan)
    if values.ndim == 1:
        known: Sequence[float] | Array
        if values.size <= FEW:  # a level has a dozen probes: numpy's calls would cost more than the sorting
            known = sorted([value for value in values.tolist() if value == value])
        else:
            known = np.sort(values[values == values])
        n = len(known)
        return np.asarray(0.5 * (known[(n - 1) // 2] + known[n // 2]) if n else np.nan)
    ordered = np.sort(values, axis=-1)  # NaN comes last
    count = np.count_nonzero(values == values, axis=-1)
    low = np.maximum(np.asarray(count) - 1, 0) // 2
    high = np.minimum(np.asarray(count) // 2, values.shape[-1] - 1)
    below = np.take_along_axis(ordered, low[..., None], axis=-1)[..., 0]
    above = np.take_along_axis(ordered, high[..., None], axis=-1)[..., 0]
    return np.asarray(np.where(np.asarray(count) > 0, 0.5 * (below + above), np.nan))


def quantiles(values: Array, shares: Sequence[float]) -> list[float]:
    """Give the quantiles of values, shape (n,), n at least 1, without NaN: linear between the two nearest."""
    ordered = np.sort(values)
    places = np.asarray(shares) * (ordered.size - 1)
    return [float(q) for q in np.interp(places, np.arange(ordered.size), ordered)]
