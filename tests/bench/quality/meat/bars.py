"""Meat as a bar with a cross-section: conduction in two dimensions, a wet-bulb surface that dries in patches.

The surface is driven towards the wet bulb by a share of wet patches that is spent as water leaves and is fed from
inside by what the warm fibres squeeze out; so the stall has no plateau by itself.
"""

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.quality.meat.night import Drawn

__all__ = ["Bars"]

Array = NDArray[np.float64]
ACROSS, UP = 6, 6
"""Nodes of a quarter of the cross-section."""
DENSITY_HEAT, LATENT = 3.3e6, 2.32e6


class Bars:
    """Bars; one quarter of each is reckoned."""

    def __init__(self, random: Generator, drawn: Drawn) -> None:
        n = len(drawn.mass_kg)
        u = random.uniform
        half = drawn.half_thickness_m * 1.12
        self._dy: Array = (half / (UP - 0.5))[:, None, None]
        self._dx: Array = (half * u(1.2, 2.6, n) / (ACROSS - 0.5))[:, None, None]
        self.celsius: Array = np.repeat(drawn.start_celsius, ACROSS * UP).reshape(n, ACROSS, UP)
        self._k: Array = u(0.40, 0.50, n)[:, None, None]
        self._h: Array = u(8.0, 20.0, n)[:, None]
        self._bulb: Array = u(52.0, 69.0, n)[:, None]
        """Wet bulb in air of 113 °C; it rises by a tenth of what the air rises."""
        self._strength: Array = np.exp(u(np.log(1.5), np.log(6.0), n))[:, None]
        """Heat lost per kelvin over the wet bulb, against convection."""
        self._water: Array = u(1.5, 8.0, n)[:, None]
        self._squeezed: Array = u(0.0, 4.0, n)[:, None]
        """kg/m² that the fibres press out between 55 and 85 °C."""
        self._given: Array = np.zeros((n, 1))
        self._wet_x: Array = np.repeat(self._water, UP, axis=1)
        self._wet_y: Array = np.repeat(self._water, ACROSS, axis=1)
        self._off = (random.integers(0, 2, n), random.integers(0, 3, n))
        self._rows = np.arange(n)

    @property
    def tip_celsius(self) -> Array:
        """Temperature at the tips."""
        return np.asarray(self.celsius[self._rows, self._off[0], self._off[1]])

    def _face(
        self, surface: Array, wet: Array, air: Array, open_share: Array, heat_share: Array
    ) -> tuple[Array, Array]:
        """Give the heat that enters a face, W/m², and the water that leaves it, kg/(m² s)."""
        bulb = self._bulb + 0.1 * (air - 113.0)
        patches = np.clip(wet / (0.35 * self._water), 0.0, 1.0)
        lost = self._h * self._strength * patches * np.maximum(surface - bulb, 0.0) * open_share
        return self._h * heat_share * (air - surface) - lost, lost / LATENT

    def step(self, seconds: float, air_celsius: Array, *, open_share: Array, heat_share: Array) -> None:
        """Cook."""
        limit = 0.22 * DENSITY_HEAT * float(self._dy.min()) ** 2 / 0.5
        steps = int(np.ceil(seconds / limit))
        dt = seconds / steps
        air, through, let_in = air_celsius[:, None], open_share[:, None], heat_share[:, None]
        for _ in range(steps):
            t = self.celsius
            rate = np.zeros_like(t)
            flow = self._k * np.diff(t, axis=1) / self._dx**2
            rate[:, :-1] += flow
            rate[:, 1:] -= flow
            flow = self._k * np.diff(t, axis=2) / self._dy**2
            rate[:, :, :-1] += flow
            rate[:, :, 1:] -= flow
            into, left_x = self._face(t[:, -1, :], self._wet_x, air, through, let_in)
            rate[:, -1, :] += into / self._dx[:, :, 0]
            into, left_y = self._face(t[:, :, -1], self._wet_y, air, through, let_in)
            rate[:, :, -1] += into / self._dy[:, :, 0]
            self.celsius = t + rate * dt / DENSITY_HEAT
            pressed = self._squeezed * np.clip((t[:, 2, 2, None] - 55.0) / 30.0, 0.0, 1.0)
            fresh = np.maximum(pressed - self._given, 0.0)
            self._given = np.maximum(self._given, pressed)
            self._wet_x = np.maximum(self._wet_x + fresh - left_x * dt, 0.0)
            self._wet_y = np.maximum(self._wet_y + fresh - left_y * dt, 0.0)
