"""Meat in shells from its surface to its core, many parts at once: conduction, sweating, bark, wrap and carry-over.

Finite volumes on nodes evenly spaced from the core to the surface; areas grow as the `shape`-th power of the radius:
0 is a slab, 1 a long cylinder, 2 a ball, and parts of briskets lie between. The surface loses heat by evaporation in
proportion to the vapour pressure over it (Magnus formula, Alduchov & Eskridge 1996), so it settles far below the air
until the water that can reach it is spent, or a wrap keeps it in.
"""

import msgspec
import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.pit import Flesh, Meat

__all__ = ["DENSITY_HEAT", "LATENT", "Parts", "Roast", "evaporation_for", "parts_of", "vapour_pascal"]

Array = NDArray[np.float64]

DENSITY_HEAT = 3.4e6
"""J/(m³ K): density times specific heat of lean meat."""
LATENT = 2.33e6
"""J/kg of water at 70 °C."""
CONDUCTIVITY = 0.47
"""W/(m K) of lean meat."""
USUAL_AIR_CELSIUS = 113.0
"""The air for which a plateau is named."""
_STEPS = 6
"""Between core and surface."""
_STABLE = 0.35
"""Share of the longest stable step of bare conduction: what is left is for the surface."""


def vapour_pascal(celsius: Array) -> Array:
    """Give the pressure of saturated vapour, Pa."""
    return np.asarray(610.94 * np.exp(17.625 * celsius / (celsius + 243.04)))


def evaporation_for(plateau_celsius: Array, convection: Array, vapour_of_air: Array) -> Array:
    """Give the evaporation, kg/(m² s Pa), that holds a wet surface at a plateau in air of 113 °C."""
    excess = vapour_pascal(plateau_celsius) - vapour_of_air
    return np.asarray(convection * (USUAL_AIR_CELSIUS - plateau_celsius) / (LATENT * excess))


class Parts(msgspec.Struct, frozen=True):
    """What the parts are made of, each shape (parts,)."""

    half_thickness_m: Array
    """From surface to core."""
    shape: Array
    start_celsius: Array
    convection: Array
    """W/(m² K), radiation included."""
    evaporation: Array
    """kg/(m² s Pa) of a wet surface."""
    vapour_of_air: Array
    """Pa in the air of the pit."""
    water: Array
    """kg/m² that can sweat out before a bark seals the surface."""
    sharpness: Array
    """How suddenly: wetness falls as 1 − (sweated / water) to this power."""
    seep: Array
    """Wetness that is left under the bark, 0 to 1."""
    tip: Array
    """Where the probe's tip lies: 0 the core, 1 the surface."""
    conductivity: Array
    """W/(m K)."""


def parts_of(meat: Meat, flesh: Flesh) -> Parts:
    """Give point and flat of a brisket."""
    half = np.array([meat.point_half_thickness_m, meat.flat_half_thickness_m])

    def both(value: float) -> Array:
        return np.full(2, value)

    convection, vapour = both(flesh.convection), both(flesh.vapour_pascal)
    return Parts(
        half, both(flesh.shape), both(meat.start_celsius), convection,
        evaporation_for(both(flesh.plateau_celsius), convection, vapour), vapour, both(flesh.water),
        both(flesh.sharpness), both(flesh.seep), both(flesh.tip), both(CONDUCTIVITY),
    )  # fmt: skip


class Roast:
    """Parts of meat as they cook. `celsius` is (parts, nodes), the core first; `sweated` in kg/m²."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self.celsius: Array = np.repeat(parts.start_celsius[:, None], _STEPS + 1, axis=1)
        self.sweated: Array = np.zeros_like(parts.start_celsius)
        dr = parts.half_thickness_m / _STEPS
        power = parts.shape[:, None]
        edges = np.concatenate([[0.0], (np.arange(_STEPS) + 0.5) / _STEPS, [1.0]])
        outer = edges[None, :] ** (power + 1.0)
        self._volume: Array = np.diff(outer, axis=1) / (power + 1.0) * parts.half_thickness_m[:, None]
        """Of each node for a square metre of surface, m."""
        self._link: Array = edges[None, 1:-1] ** power * (parts.conductivity / dr)[:, None]
        """W/K between neighbours for a square metre of surface."""
        place = np.clip(parts.tip, 0.0, 1.0) * _STEPS
        self._below = np.minimum(place.astype(np.intp), _STEPS - 1)
        self._share: Array = place - self._below
        self._rows = np.arange(parts.tip.size)
        fastest = self._link / np.minimum(self._volume[:, 1:], self._volume[:, :-1])
        self._longest = float(_STABLE * DENSITY_HEAT / fastest.max())

    @property
    def tip_celsius(self) -> Array:
        """Temperature at the probes' tips, shape (parts,)."""
        low = self.celsius[self._rows, self._below]
        return np.asarray(low + self._share * (self.celsius[self._rows, self._below + 1] - low))

    def step(self, seconds: float, air_celsius: Array, *, open_share: Array, heat_share: Array) -> None:
        """Cook.

        Args:
            seconds: for how long.
            air_celsius: of the air around each part, shape (parts,).
            open_share: how much of the sweat a wrap lets through, 1 without one, shape (parts,).
            heat_share: how much of the heat it lets in, 1 without one, shape (parts,).
        """
        steps = max(1, int(np.ceil(seconds / self._longest)))
        parts, dt = self._parts, seconds / steps
        per_volume = dt / (DENSITY_HEAT * self._volume)
        for _ in range(steps):
            surface = self.celsius[:, -1]
            dry = np.minimum(self.sweated / parts.water, 1.0) ** parts.sharpness
            excess = vapour_pascal(np.minimum(surface, 100.0)) - parts.vapour_of_air
            wetness = np.maximum(1.0 - dry, parts.seep)
            sweat = np.maximum(parts.evaporation * wetness * open_share * excess, 0.0)
            flow = self._link * np.diff(self.celsius, axis=1)
            watts = np.zeros_like(self.celsius)
            watts[:, :-1] += flow
            watts[:, 1:] -= flow
            watts[:, -1] += parts.convection * heat_share * (air_celsius - surface) - LATENT * sweat
            self.celsius = self.celsius + watts * per_volume
            self.sweated = self.sweated + sweat * dt
