"""Meat that dries from outside in: a front of evaporation that moves under a growing crust, on both sides of a slab.

Heat and vapour both have to pass the crust, so the rate falls as it grows; the two sides dry and heat differently (the
side over the baffle, the side with the cap of fat), and the probe lies somewhere between.
"""

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.quality.meat.night import Drawn

__all__ = ["Front"]

Array = NDArray[np.float64]
NODES = 11
LATENT, DENSITY_HEAT = 2.3e6, 3.5e6


def saturated(celsius: Array) -> Array:
    """Give the vapour pressure, Pa (Antoine's equation for water, 1 to 100 °C, from memory)."""
    return np.asarray(133.322 * 10.0 ** (8.07131 - 1730.63 / (233.426 + celsius)))


class Front:
    """Slabs of meat under crusts."""

    def __init__(self, random: Generator, drawn: Drawn) -> None:
        n = len(drawn.mass_kg)
        u = random.uniform
        self._dx: Array = 2.0 * drawn.half_thickness_m / (NODES - 1)
        self.celsius: Array = np.repeat(drawn.start_celsius[:, None], NODES, axis=1)
        self._k: Array = u(0.40, 0.52, n)[:, None]
        # both sides: the lower is the drier one by the grate, or the one under fat
        self._h: Array = u(7.0, 18.0, n)[:, None] * np.column_stack([np.ones(n), u(0.7, 1.5, n)])
        self._vapour: Array = saturated(u(20.0, 54.0, n))[:, None]
        plateau = u(56.0, 74.0, n)[:, None]
        open_rate = self._h * (113.0 - plateau) / (LATENT * (saturated(plateau) - self._vapour))
        self._film: Array = 1.0 / (open_rate * np.column_stack([np.ones(n), u(0.25, 1.0, n)]))
        self._crust_m = np.zeros((n, 2))
        self._per_crust: Array = u(200.0, 700.0, n)[:, None]
        """kg/m³ that leave for each metre of crust."""
        self._crust_k: Array = u(0.2, 0.45, n)[:, None]
        self._passing: Array = np.exp(u(np.log(0.15e-10), np.log(3.0e-10), n))[:, None]
        """kg/(m s Pa) of vapour through the crust."""
        self._limit_m: Array = u(2.0, 11.0, n)[:, None] / self._per_crust
        """Where what lies deeper is bound to the fibres and stays."""
        place = (NODES - 1) * u(0.32, 0.68, n)
        self._below = place.astype(np.intp)
        self._share: Array = place - self._below
        self._rows = np.arange(n)

    @property
    def tip_celsius(self) -> Array:
        """Temperature at the tips."""
        low = self.celsius[self._rows, self._below]
        return np.asarray(low + self._share * (self.celsius[self._rows, self._below + 1] - low))

    def step(self, seconds: float, air_celsius: Array, *, open_share: Array, heat_share: Array) -> None:
        """Cook."""
        limit = 0.3 * DENSITY_HEAT * float(self._dx.min()) ** 2 / 0.52
        steps = int(np.ceil(seconds / limit))
        dt = seconds / steps
        for _ in range(steps):
            ends = self.celsius[:, [0, -1]]
            heat = 1.0 / (1.0 / (self._h * heat_share[:, None]) + self._crust_m / self._crust_k)
            excess = saturated(np.minimum(ends, 100.0)) - self._vapour
            free = np.maximum(1.0 - (self._crust_m / self._limit_m) ** 4, 0.0)
            resistance = self._film + self._crust_m / self._passing
            sweat = free * np.maximum(excess, 0.0) * open_share[:, None] / resistance
            flow = self._k * np.diff(self.celsius, axis=1) / self._dx[:, None]
            watts = np.zeros_like(self.celsius)
            watts[:, :-1] += flow
            watts[:, 1:] -= flow
            watts[:, [0, -1]] += heat * (air_celsius[:, None] - ends) - LATENT * sweat
            volume = np.repeat(self._dx[:, None], NODES, axis=1)
            volume[:, [0, -1]] *= 0.5
            self.celsius = self.celsius + watts * dt / (DENSITY_HEAT * volume)
            self._crust_m = self._crust_m + sweat * dt / self._per_crust
