"""Whether a number a cook has one of (a rhythm, the length of a stall) is another one after a change. Pure.

What such a number may be off by is not the noise within a night alone: the same pit, and another piece of meat, give
another one on another night. How far cooks differ is held beforehand, as a standard deviation worth so many cooks, and
what is seen of it is put with that. `collector.model.difference` does the same for the chamber's field.
"""

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from collector.model.block_bootstrap import autocovariance
from collector.model.field import Array

__all__ = ["BETWEEN", "WITHIN", "CookNumber", "Effect", "compare", "cooks_needed", "mean_variance", "student_quantile"]

COOK_FREEDOM = 6.0
"""How much is trusted what is held of how far cooks differ: so many degrees of freedom, beside the scatter seen."""
CONFIDENCE = 0.95
LEAST_SEEN = 0.3
MOST_COOKS = 100
BETWEEN, WITHIN = "one cook is not the other", "within each cook"


class CookNumber(msgspec.Struct, frozen=True):
    """What one cook tells of a quantity."""

    value: float
    variance: float = 0.0
    """Of the value, from what is seen within the cook, in the square of its unit."""


class Effect(msgspec.Struct, frozen=True):
    """Of a change: after less before, in the quantity's unit."""

    amount: float
    low: float
    high: float
    """95 % interval."""
    sd: float
    freedom: float
    budget: tuple[tuple[str, float], ...]
    """Sources of error and the variance each adds, the largest first."""

    @property
    def shown(self) -> bool:
        """Whether the interval leaves no change out."""
        return self.low > 0.0 or self.high < 0.0


def mean_variance(values: Array) -> float:
    """Give the variance of the mean of an autocorrelated series, evenly spaced; NaN below eight values.

    The variance over n, times 1 + 2 times the sum of the autocorrelations, summed while the sums of neighbouring pairs
    are positive and do not rise (Geyer 1992, initial monotone sequence). For a series of the first order that tends to
    (1 + φ)/(1 - φ) times the variance over n. Each autocovariance is too small by the variance of the mean, which
    was taken away; that is put back.

    Args:
        values: shape (n,), no NaN.
    """
    n = len(values)
    if n < 8:
        return math.nan
    covariance = autocovariance(values)
    if covariance[0] <= 0.0:
        return 0.0
    pairs = covariance[0 : n - 1 : 2] + covariance[1:n:2]
    ends = np.flatnonzero(pairs <= 0.0)
    kept = np.minimum.accumulate(pairs[: ends[0]] if len(ends) else pairs)
    total = float(2.0 * kept.sum() - covariance[0])
    seen = max(1.0 - (4.0 * len(kept) - 1.0) / n, LEAST_SEEN)
    return max(total / seen, float(covariance[0])) / n


def compare(before: Sequence[CookNumber], after: Sequence[CookNumber], cook_sd: float) -> Effect:
    """Compare two sets of cooks.

    Args:
        before: of the cooks before the change, one or more.
        after: of those after it.
        cook_sd: how far cooks in the same pit are held to differ, a standard deviation.

    Raises:
        ValueError: a side has no cook.
    """
    if not before or not after:
        raise ValueError("each side needs a cook")
    sides = (before, after)
    within = sum(sum(c.variance for c in side) / len(side) ** 2 for side in sides)
    cooks, freedom = _cook_variance(sides, cook_sd)
    between = sum(cooks / len(side) for side in sides)
    amount = float(np.mean([c.value for c in after]) - np.mean([c.value for c in before]))
    variance = between + within
    # Satterthwaite: what is known for sure adds no doubt about the doubt
    freedom = freedom * (variance / between) ** 2 if between > 0.0 else math.inf
    sd = math.sqrt(variance)
    reach = student_quantile(0.5 + CONFIDENCE / 2.0, freedom) * sd
    budget = sorted(((BETWEEN, between), (WITHIN, within)), key=lambda item: -item[1])
    return Effect(amount, amount - reach, amount + reach, sd, freedom, tuple(budget))


def _cook_variance(sides: Sequence[Sequence[CookNumber]], cook_sd: float) -> tuple[float, float]:
    """Give the variance from cook to cook and its degrees of freedom: what is held of it, and what is seen."""
    squares = sum(sum((c.value - np.mean([d.value for d in side])) ** 2 for c in side) for side in sides)
    seen = float(sum(len(side) - 1 for side in sides))
    explained = seen * float(np.mean([c.variance for side in sides for c in side]))
    variance = (COOK_FREEDOM * cook_sd**2 + max(float(squares) - explained, 0.0)) / (COOK_FREEDOM + seen)
    return variance, COOK_FREEDOM + seen


def cooks_needed(amount: float, per_cook_variance: float, shared_variance: float, power: float = 0.9) -> int | None:
    """Say how many cooks a side it takes to show an effect of this size; None where no number of cooks would.

    Args:
        amount: the effect.
        per_cook_variance: of one cook's number, in the square of its unit.
        shared_variance: what no number of cooks makes less.
        power: how often it is to be shown.
    """
    for count in range(1, MOST_COOKS + 1):
        freedom = COOK_FREEDOM + 2.0 * (count - 1)
        sd = math.sqrt(2.0 * per_cook_variance / count + shared_variance)
        needed = (student_quantile(0.5 + CONFIDENCE / 2.0, freedom) + student_quantile(power, freedom)) * sd
        if abs(amount) >= needed:
            return count
    return None


def student_quantile(probability: float, freedom: float) -> float:
    """Give the quantile of Student's t; within 0.5 % from four degrees of freedom on, for probabilities up to 0.975.

    By the expansion of Cornish and Fisher about the normal's (Abramowitz and Stegun 26.7.5).
    """
    from statistics import NormalDist  # with fractions and decimals, which the collector never needs

    z = NormalDist().inv_cdf(probability)
    if math.isinf(freedom):
        return z
    g1 = (z**3 + z) / 4.0
    g2 = (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / 96.0
    g3 = (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / 384.0
    g4 = (79.0 * z**9 + 776.0 * z**7 + 1482.0 * z**5 - 1920.0 * z**3 - 945.0 * z) / 92160.0
    return z + g1 / freedom + g2 / freedom**2 + g3 / freedom**3 + g4 / freedom**4
