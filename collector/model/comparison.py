"""Whether a change of the pit made a difference, with an interval that carries every source of error there is. Pure.

A night gives one number a cook and quantity, the mean over its steady stretch. What that number may be off by is not
the noise in time alone: the same pit is another one on another night, probes are put back a finger's breadth away, and
two probes of one class need not agree. An interval that leaves these out is too narrow by far.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from collector.model.field import Array

__all__ = ["CookMean", "Effect", "compare", "cooks_needed", "mean_variance", "student_quantile"]

COOK_SD_KELVIN = 0.6
"""How far the same pit stands from itself on another night, beside what is worked out from the record: split, wood,
ash, where the meat lies (weighed on rehearsed pairs, no source)."""
COOK_FREEDOM = 6.0
"""How much that is trusted, in cooks: so many degrees of freedom it counts for beside the scatter that is seen."""
CONFIDENCE = 0.95
LEAST_SEEN = 0.3


@dataclass(frozen=True, slots=True)
class CookMean:
    """What one cook tells of a quantity."""

    value: float
    time_variance: float
    """Of the mean, from its noise in time, kelvin squared."""
    place_variance: float = 0.0
    """From where the probes were put this time."""


@dataclass(frozen=True, slots=True)
class Effect:
    """Of a change: after less before."""

    kelvin: float
    low_kelvin: float
    high_kelvin: float
    """95 % interval."""
    sd_kelvin: float
    freedom: float
    budget: tuple[tuple[str, float], ...]
    """Sources of error and the variance each adds, kelvin squared, the largest first."""

    @property
    def shown(self) -> bool:
        """Whether the interval leaves no change out."""
        return self.low_kelvin > 0.0 or self.high_kelvin < 0.0


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
    centred = values - values.mean()
    size = 1 << (2 * n - 1).bit_length()
    spectrum = np.fft.rfft(centred, size)
    covariance = np.fft.irfft(spectrum * np.conj(spectrum), size)[:n] / n
    if covariance[0] <= 0.0:
        return 0.0
    pairs = covariance[0 : n - 1 : 2] + covariance[1:n:2]
    ends = np.flatnonzero(pairs <= 0.0)
    kept = np.minimum.accumulate(pairs[: ends[0]] if len(ends) else pairs)
    total = float(2.0 * kept.sum() - covariance[0])
    seen = max(1.0 - (4.0 * len(kept) - 1.0) / n, LEAST_SEEN)
    return max(total / seen, float(covariance[0])) / n


def compare(
    before: Sequence[CookMean],
    after: Sequence[CookMean],
    *,
    shared_variance: float = 0.0,
    weather_variance: float = 0.0,
) -> Effect:
    """Compare two sets of cooks.

    Args:
        before: of the cooks before the change, one or more.
        after: of those after it.
        shared_variance: from probes that are not the same, or not in the same places, on both sides; it does not grow
            less with the number of cooks.
        weather_variance: from weather that was another on either side.

    Raises:
        ValueError: a side has no cook.
    """
    if not before or not after:
        raise ValueError("each side needs a cook")
    sides = (before, after)
    told = [1.0 / len(side) ** 2 * sum(c.time_variance for c in side) for side in sides]
    placed = [1.0 / len(side) ** 2 * sum(c.place_variance for c in side) for side in sides]
    nights, freedom = _night_variance(sides)
    night = sum(nights / len(side) for side in sides)
    budget = {
        "one night is not the other": night,
        "noise in time": sum(told),
        "where the probes were put": sum(placed),
        "probes that are not the same": shared_variance,
        "weather": weather_variance,
    }
    kelvin = float(np.mean([c.value for c in after]) - np.mean([c.value for c in before]))
    variance = sum(budget.values())
    # Satterthwaite: what is known for sure adds no doubt about the doubt
    freedom = freedom * (variance / night) ** 2 if night > 0.0 else math.inf
    sd = math.sqrt(variance)
    reach = student_quantile(0.5 + CONFIDENCE / 2.0, freedom) * sd
    ranked = sorted(budget.items(), key=lambda item: -item[1])
    return Effect(kelvin, kelvin - reach, kelvin + reach, sd, freedom, tuple(ranked))


def _night_variance(sides: Sequence[Sequence[CookMean]]) -> tuple[float, float]:
    """Give the variance from night to night and its degrees of freedom: what is held of it, and what is seen."""
    squares = sum(sum((c.value - np.mean([d.value for d in side])) ** 2 for c in side) for side in sides)
    seen = float(sum(len(side) - 1 for side in sides))
    known = [c.time_variance + c.place_variance for side in sides for c in side]
    explained = seen * float(np.mean(known)) if known else 0.0
    variance = (COOK_FREEDOM * COOK_SD_KELVIN**2 + max(float(squares) - explained, 0.0)) / (COOK_FREEDOM + seen)
    return variance, COOK_FREEDOM + seen


def cooks_needed(kelvin: float, per_cook_variance: float, shared_variance: float, power: float = 0.9) -> int | None:
    """Say how many cooks a side it takes to show an effect of this size; None where no number of cooks would.

    Args:
        kelvin: the effect.
        per_cook_variance: of one cook's number: night, time and place together, kelvin squared.
        shared_variance: what no number of cooks makes less.
        power: how often it is to be shown.
    """
    for count in range(1, 101):
        freedom = COOK_FREEDOM + 2.0 * (count - 1)
        sd = math.sqrt(2.0 * per_cook_variance / count + shared_variance)
        needed = (student_quantile(0.5 + CONFIDENCE / 2.0, freedom) + student_quantile(power, freedom)) * sd
        if abs(kelvin) >= needed:
            return count
    return None


def student_quantile(probability: float, freedom: float) -> float:
    """Give the quantile of Student's t; within 0.5 % from four degrees of freedom on, for probabilities up to 0.975.

    By the expansion of Cornish and Fisher about the normal's (Abramowitz and Stegun 26.7.5).
    """
    z = NormalDist().inv_cdf(probability)
    if math.isinf(freedom):
        return z
    g1 = (z**3 + z) / 4.0
    g2 = (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / 96.0
    g3 = (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / 384.0
    g4 = (79.0 * z**9 + 776.0 * z**7 + 1482.0 * z**5 - 1920.0 * z**3 - 945.0 * z) / 92160.0
    return z + g1 / freedom + g2 / freedom**2 + g3 / freedom**3 + g4 / freedom**4
