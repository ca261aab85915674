"""The meat of the recorded nights (`adapters/rehearsal/brisket.py`) with its constants drawn: three nodes, no more.

It is never learned from, so that the table has a family which the forecast has not seen.
"""

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.quality.meat.night import Drawn

__all__ = ["Nodes"]

Array = NDArray[np.float64]
DENSITY_HEAT, LATENT = 3.4e6, 2.32e6


def vapour(celsius: Array) -> Array:
    """Give the pressure of saturated vapour, Pa."""
    return np.asarray(610.94 * np.exp(17.625 * celsius / (celsius + 243.04)))


class Nodes:
    """Surface, middle and core."""

    def __init__(self, random: Generator, drawn: Drawn) -> None:
        n = len(drawn.mass_kg)
        u = random.uniform
        self._layer: Array = drawn.half_thickness_m / 3.0
        self.celsius: Array = np.repeat(drawn.start_celsius[:, None], 3, axis=1)
        self._sweated: Array = np.zeros(n)
        self._link: Array = u(0.40, 0.52, n) / self._layer
        self._convection: Array = u(8.0, 20.0, n)
        self._in_air: Array = vapour(u(15.0, 45.0, n))
        plateau = u(58.0, 73.0, n)
        self._rate: Array = self._convection * (113.0 - plateau) / (LATENT * (vapour(plateau) - self._in_air))
        self._water: Array = u(3.0, 13.0, n)
        self._power: Array = u(1.5, 3.0, n)
        self._deep: Array = u(0.5, 1.0, n)
        """How far in the tip is: the core, or half way to the middle node."""

    @property
    def tip_celsius(self) -> Array:
        """Temperature at the tips."""
        return np.asarray(self.celsius[:, 1] + self._deep * (self.celsius[:, 2] - self.celsius[:, 1]))

    def step(self, seconds: float, air_celsius: Array, *, open_share: Array, heat_share: Array) -> None:
        """Cook."""
        dt = seconds / 2.0
        for _ in range(2):
            surface, middle, core = self.celsius.T
            wetness = np.maximum(0.0, 1.0 - (self._sweated / self._water) ** self._power)
            excess = vapour(np.minimum(surface, 100.0)) - self._in_air
            sweat = np.maximum(0.0, self._rate * wetness * open_share * excess)
            into = self._convection * heat_share * (air_celsius - surface) - LATENT * sweat
            self._sweated = self._sweated + sweat * dt
            outer, inner = self._link * (surface - middle), self._link * (middle - core)
            per_kelvin = dt / (DENSITY_HEAT * self._layer)
            self.celsius = self.celsius + np.column_stack([into - outer, outer - inner, inner]) * per_kelvin[:, None]
