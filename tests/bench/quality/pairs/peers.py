"""Simpler ways to judge a pair: what they would say of the far end's deficit, from probes in it against the others."""

import math

import numpy as np

from collector.model.block_bootstrap import mean_covariance
from collector.model.difference import Stretch
from tests.bench.quality.pairs.pair import Array, Pair

__all__ = ["PEERS", "interval"]

PEERS = ("t-test over minutes", "block bootstrap", "bootstrap and a fixed term for cooks")
FIXED_KELVIN = 1.1
"""Standard deviation of a cook's number that the last of them holds."""
NORMAL = 1.96


def interval(way: str, pair: Pair) -> tuple[float, float]:
    """Give the 95 % interval of one of `PEERS`, kelvin."""
    sides = [[_deficit(s, pair.far_m) for s in side] for side in (pair.before, pair.after)]
    middle = float(np.mean([d.mean() for d in sides[1]]) - np.mean([d.mean() for d in sides[0]]))
    variance = sum(_variance(way, series) for side in sides for series in side) / len(pair.before) ** 2
    reach = NORMAL * math.sqrt(variance)
    return middle - reach, middle + reach


def _deficit(stretch: Stretch, far_m: float) -> Array:
    """Give the mean of all probes less that of those at the far end, minute by minute, shape (minutes,)."""
    x = np.array([p.x_m for p in stretch.probes])
    far = x >= min(far_m, float(x.max()))
    scaled: Array = stretch.scale * (stretch.celsius.mean(axis=1) - stretch.celsius[:, far].mean(axis=1))
    return scaled


def _variance(way: str, series: Array) -> float:
    if way == PEERS[0]:
        return float(series.var(ddof=1)) / len(series)
    own = float(mean_covariance(series[:, None])[0, 0])
    return own + (FIXED_KELVIN**2 if way == PEERS[2] else 0.0)
