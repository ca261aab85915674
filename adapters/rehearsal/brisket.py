"""Meat that stalls: heat flows in through a wet surface that sweats until it is dry or wrapped.

Three nodes from surface to core. The surface loses heat by evaporation in proportion to the vapour pressure over
it (Magnus formula, Alduchov & Eskridge 1996), so it settles far below the air until the water near it is spent.
"""

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["Brisket"]

_DENSITY_HEAT = 3.4e6
"""J/(m³ K): density times specific heat of lean meat."""
_CONDUCTIVITY = 0.46
_CONVECTION = 17.0
"""W/(m² K), radiation included."""
_LATENT = 2.32e6
_EVAPORATION = 1.35e-8
"""kg/(m² s Pa): tuned so that the plateau lies at 150-170 °F (common practice, no source)."""
_FREE_WATER = 10.0
"""kg/m² that can sweat out before a bark seals the surface."""


def _vapour_pascal(celsius: float) -> float:
    return 610.94 * math.exp(17.625 * celsius / (celsius + 243.04))


class Brisket:
    """One part of the meat, `half_thickness_m` from surface to core."""

    def __init__(self, half_thickness_m: float, celsius: float) -> None:
        self._layer = half_thickness_m / 3.0
        self.celsius: NDArray[np.float64] = np.full(3, celsius)
        """Surface, middle and core."""
        self.sweated = 0.0
        """kg/m² of water gone."""
        self.wrapped = False

    def step(self, seconds: float, air_celsius: float) -> None:
        """Cook for `seconds` in air of the given temperature."""
        surface, middle, core = (float(value) for value in self.celsius)
        wetness = max(0.0, 1.0 - (self.sweated / _FREE_WATER) ** 2)
        excess = _vapour_pascal(min(surface, 100.0)) - 2_500.0
        sweat = 0.0 if self.wrapped else max(0.0, _EVAPORATION * wetness * excess)
        convection = _CONVECTION * (0.75 if self.wrapped else 1.0)
        link = _CONDUCTIVITY / self._layer
        capacity = _DENSITY_HEAT * self._layer / seconds
        into = convection * (air_celsius - surface) - _LATENT * sweat
        self.sweated += sweat * seconds
        self.celsius[0] = surface + (into - link * (surface - middle)) / capacity
        self.celsius[1] = middle + link * (surface - 2.0 * middle + core) / capacity
        self.celsius[2] = core + link * (middle - core) / capacity
