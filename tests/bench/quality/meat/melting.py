"""Meat that takes up heat as it melts and swells: enthalpy in a ball of shells, evaporation of first order.

Collagen and fat take up heat between 60 and 85 °C, which alone slows the rise; evaporation follows the depression
below the air and dies out exponentially with time above 50 °C rather than with the water that left.
"""

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.quality.meat.night import Drawn

__all__ = ["Melting"]

Array = NDArray[np.float64]
SHELLS = 7
DENSITY_HEAT = 3.45e6


class Melting:
    """Balls and thick cylinders that melt."""

    def __init__(self, random: Generator, drawn: Drawn) -> None:
        n = len(drawn.mass_kg)
        u = random.uniform
        radius = drawn.half_thickness_m * 1.75
        power = u(0.8, 2.0, n)[:, None]
        edges = np.linspace(0.0, 1.0, SHELLS + 1)[None, :]
        self._volume: Array = np.diff(edges ** (power + 1.0), axis=1) / (power + 1.0) * radius[:, None]
        self._link: Array = edges[:, 1:-1] ** power * (u(0.42, 0.52, n) * SHELLS / radius)[:, None]
        self._skin: Array = 0.5 * radius / SHELLS / 0.47
        self.celsius: Array = np.repeat(drawn.start_celsius[:, None], SHELLS, axis=1)
        self._h: Array = u(9.0, 20.0, n)
        self._melt_at: Array = u(64.0, 80.0, n)[:, None]
        self._melt_width: Array = u(3.0, 7.0, n)[:, None]
        self._melt_kelvin: Array = u(3.0, 40.0, n)[:, None]
        """Heat of melting as kelvin of plain meat."""
        self._loss: Array = u(0.4, 1.15, n)
        self._loss_hours: Array = np.exp(u(np.log(1.5), np.log(12.0), n))
        self._hot_hours: Array = np.zeros(n)
        self._tip = random.integers(0, 3, n)
        self._rows = np.arange(n)

    @property
    def tip_celsius(self) -> Array:
        """Temperature at the tips."""
        return np.asarray(self.celsius[self._rows, self._tip])

    def step(self, seconds: float, air_celsius: Array, *, open_share: Array, heat_share: Array) -> None:
        """Cook."""
        fastest = float((self._link / np.minimum(self._volume[:, 1:], self._volume[:, :-1])).max())
        steps = int(np.ceil(seconds * fastest / (0.4 * DENSITY_HEAT)))
        dt = seconds / steps
        for _ in range(steps):
            t = self.celsius
            off = (t - self._melt_at) / self._melt_width
            capacity = 1.0 + self._melt_kelvin * np.exp(-0.5 * off**2) / (2.5066 * self._melt_width)
            warm = 1.0 / (1.0 + np.exp(-np.clip((t[:, -1] - 56.0) / 5.0, -30.0, 30.0)))
            self._hot_hours = self._hot_hours + warm * dt / 3600.0
            fading = np.exp(-((self._hot_hours / self._loss_hours) ** 2))
            lost = np.minimum(self._loss * warm * fading * open_share, 0.99)
            conductance = 1.0 / (1.0 / (self._h * heat_share) + self._skin)
            flow = self._link * np.diff(t, axis=1)
            watts = np.zeros_like(t)
            watts[:, :-1] += flow
            watts[:, 1:] -= flow
            watts[:, -1] += conductance * (air_celsius - t[:, -1]) * (1.0 - lost)
            self.celsius = t + watts * dt / (DENSITY_HEAT * self._volume * capacity)
