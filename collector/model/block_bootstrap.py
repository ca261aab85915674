"""How far a mean over an autocorrelated series may be off: the stationary block bootstrap, without drawing. Pure.

The bootstrap of Politis and Romano (*JASA* 89, 1994) puts a series together anew out of blocks of random length. What
its means scatter by has a closed form in the series' own autocovariances, so nothing has to be drawn, and the answer
for the same night is the same every time. The mean length of the blocks is chosen after Politis and White
(*Econometric Reviews* 23, 2004) as corrected by Patton, Politis and White (ibid. 28, 2009).
"""

import math

import numpy as np

from collector.model.field import Array

__all__ = ["autocovariance", "block_length", "mean_covariance"]

LEAST = 8
"""Fewer values than these tell nothing of how they hang together."""


def mean_covariance(values: Array, block: float | None = None) -> Array:
    """Give the covariance of the means of series that go together, evenly spaced; NaN below eight values.

    Args:
        values: shape (n, series), no NaN.
        block: mean length of a block, in values; None: the longest that `block_length` gives for one of them.

    Returns:
        Shape (series, series), in the square of the values' unit.
    """
    n, count = values.shape
    if n < LEAST:
        return np.full((count, count), np.nan)
    length = max(block_length(values[:, k]) for k in range(count)) if block is None else block
    stay = 1.0 - 1.0 / max(length, 1.0)
    lag = np.arange(n)
    # Politis and Romano, lemma 1: circular autocovariances, each by the chance that two values this far apart are
    # of one block, the one that goes round the end included
    weight = (1.0 - lag / n) * stay**lag + lag / n * stay ** (n - lag)
    weight[0] = 1.0
    spectrum = np.fft.rfft(values - values.mean(axis=0), axis=0)
    across = np.fft.irfft(spectrum[:, :, None] * np.conj(spectrum[:, None, :]), n, axis=0) / n
    covariance = np.tensordot(weight, across, axes=1) / n
    symmetric: Array = 0.5 * (covariance + covariance.T)
    # What the mean itself took away: a series of few blocks shows less than it has
    return np.asarray(symmetric / max(1.0 - 2.0 * length / n, 0.3))


def autocovariance(values: Array) -> Array:
    """Give the covariance of a series, shape (n,), with itself so many values later, shape (n,); each over n."""
    n = len(values)
    size = 1 << (2 * n - 1).bit_length()
    spectrum = np.fft.rfft(values - values.mean(), size)
    return np.asarray(np.fft.irfft(spectrum * np.conj(spectrum), size)[:n] / n)


def block_length(values: Array) -> float:
    """Choose the mean length of the blocks for a series, shape (n,), in values; 1 where nothing hangs together."""
    n = len(values)
    covariance = autocovariance(values)
    if covariance[0] <= 0.0:
        return 1.0
    reach = _reach(covariance / covariance[0])
    lag = np.arange(1, min(reach, n - 1) + 1)
    flat_top = np.clip(2.0 * (1.0 - lag / reach), 0.0, 1.0)
    g = 2.0 * float(np.sum(flat_top * lag * covariance[lag]))
    long_run = float(covariance[0] + 2.0 * np.sum(flat_top * covariance[lag]))
    if long_run <= 0.0 or g == 0.0:
        return 1.0
    best = (g * g / (long_run * long_run)) ** (1.0 / 3.0) * n ** (1.0 / 3.0)
    return float(min(max(best, 1.0), math.ceil(min(3.0 * math.sqrt(n), n / 3.0))))


def _reach(correlation: Array) -> int:
    """Give twice the first lag from which on nothing stands out of the noise, as the rule of Politis and White has it.

    The first quiet lag is taken, and the reach bounded, as the published programs for that rule do.
    """
    n = len(correlation)
    quiet_for = max(5, math.ceil(math.sqrt(math.log10(n))))
    most = min(math.ceil(math.sqrt(n)) + quiet_for, n - 1)
    loud = np.abs(correlation[: most + 1]) > 2.0 * math.sqrt(math.log10(n) / n)
    for lag in range(1, most - quiet_for + 1):
        if not loud[lag : lag + quiet_for].any():
            return min(2 * lag, most)
    return most
