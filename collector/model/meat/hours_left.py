"""How many hours a curve has to go, learned from simulated pieces: three quantiles out of the signs.

A small network of smooth units (two layers of tanh), fitted to pieces of structurally different models of meat by the
pinball loss (Koenker & Bassett 1978, *Econometrica* 46, 33), so that its three outputs are quantiles and not a guess
with a margin. The numbers are in `learned.py`; `tests/bench/quality/meat/learn.py` makes them.
"""

import itertools
from functools import lru_cache

import numpy as np

from collector.model.field import Array
from collector.model.meat import learned

__all__ = ["OFFSET_HOURS", "hours_left", "quantiles_of"]

OFFSET_HOURS = 0.05
"""What is learned is the logarithm of the hours to go plus this."""
NARROWEST = 1.5
"""Where a width starts from, before anything is learned."""

Layers = tuple[tuple[Array, Array], ...]


@lru_cache(maxsize=1)
def _networks() -> tuple[Layers, ...]:
    """Unpack the learned numbers."""
    numbers = np.array(learned.NUMBERS.split(), dtype=np.float64) / learned.SCALE
    sizes = learned.SIZES
    found, at = [], 0
    while at < numbers.size:
        layers = []
        for n, m in itertools.pairwise(sizes):
            weights = numbers[at : at + n * m].reshape(n, m)
            layers.append((weights, numbers[at + n * m : at + n * m + m]))
            at += n * m + m
        found.append(tuple(layers))
    return tuple(found)


def quantiles_of(layers: Layers, columns: Array) -> Array:
    """Give the logarithms (10, 50, 90 %) that one network makes of columns (m, n), shape (m, 3)."""
    values = columns
    for weights, bias in layers[:-1]:
        values = np.tanh(values @ weights + bias)
    weights, bias = layers[-1]
    middle, down, up = (values @ weights + bias).T
    return np.column_stack([
        middle - np.logaddexp(0.0, down - NARROWEST), middle, middle + np.logaddexp(0.0, up - NARROWEST),
    ])  # fmt: skip


def hours_left(columns: Array, *, stall_seen: bool) -> Array:
    """Give the hours to go that are exceeded with 90, 50 and 10 %, shape (m, 3), of columns, shape (m, n).

    The mean of several networks' logarithms, its widths set by how far arrivals of models that were left out of the
    learning strayed.
    """
    logarithms = np.mean([quantiles_of(layers, columns) for layers in _networks()], axis=0)
    middle = logarithms[:, 1:2]
    early, late = learned.WIDER_SEEN if stall_seen else learned.WIDER_UNSEEN
    wider = np.array([[early, 1.0, late]])
    return np.asarray(np.maximum(np.exp(middle + wider * (logarithms - middle)) - OFFSET_HOURS, 0.0))
