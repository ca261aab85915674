"""Meat as two stores of heat, the rind and the core, with a loss that shuts off by a logistic curve of the core.

Nothing here is geometry: depth and length of the stall are drawn as such.
"""

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.quality.meat.night import Drawn

__all__ = ["Stores"]

Array = NDArray[np.float64]


class Stores:
    """Two stores each; times in hours."""

    def __init__(self, random: Generator, drawn: Drawn) -> None:
        n = len(drawn.mass_kg)
        u = random.uniform
        size = (drawn.half_thickness_m / 0.031) ** 1.6
        self._rind_hours: Array = u(0.7, 1.8, n) * size
        self._core_hours: Array = u(0.5, 1.6, n) * size
        self._back: Array = u(0.3, 1.0, n)
        """How strongly the core draws on the rind."""
        self._depth: Array = u(0.7, 1.02, n)
        """Share of the heat that the loss takes while it lasts."""
        self._begin: Array = u(55.0, 70.0, n)
        self._begin_width: Array = u(2.0, 6.0, n)
        self._over_hours: Array = u(1.5, 9.0, n)
        self._over_width: Array = u(0.1, 0.5, n)
        self._stalled: Array = np.zeros(n)
        """Hours in the stall."""
        self._rind: Array = drawn.start_celsius.copy()
        self._core: Array = drawn.start_celsius.copy()
        self._lag: Array = drawn.start_celsius.copy()
        self._lag_hours: Array = u(0.03, 0.3, n)

    @property
    def tip_celsius(self) -> Array:
        """Temperature at the tips."""
        return self._lag

    def step(self, seconds: float, air_celsius: Array, *, open_share: Array, heat_share: Array) -> None:
        """Cook."""
        dt = seconds / 3600.0 / 2.0
        for _ in range(2):
            on = 1.0 / (1.0 + np.exp(-np.clip((self._rind - self._begin) / self._begin_width, -30.0, 30.0)))
            off = np.exp(-np.clip((self._stalled - self._over_hours) / (self._over_width * self._over_hours), -30, 30))
            loss = self._depth * on * off / (1.0 + off) * open_share
            self._stalled = self._stalled + dt * on
            gain = heat_share * (air_celsius - self._rind) * (1.0 - loss)
            between = (self._rind - self._core) / self._core_hours
            self._rind = self._rind + dt * (gain / self._rind_hours - self._back * between)
            self._core = self._core + dt * between
            self._lag = self._lag + dt * (self._core - self._lag) / (self._lag_hours + dt)
