"""The air and steel of the cook chamber: nodes along the pit, at the grate and under the lid.

Flue gas enters at the fire end, most of it above the baffle, and leaves through the stack. Where the stack begins
decides what the grate's share of the stream does on its way: drawn up to a high stack the grate's stream dies
away towards the stack end, drawn down to a low one it grows. Energy balances per node, first order upwind:

    C dTg/dt = advection + rising or sinking gas + k (Tt − Tg) + h (Tw − Tg) + leak + open door

with the wall between its air and the night. Explicit steps; 2 s is well inside stability (fastest node about 10 s).
"""

import math

import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.pit import Pit

__all__ = ["Chamber"]

Array = NDArray[np.float64]

_NODES = 12
_GRATE, _TOP = 0, 1
_DOOR = np.array([[18.0], [65.0]])
"""W/K to the outside while the door is open, grate and top: warm air spills out at the top first."""
_PASCAL = 101_325.0


class Chamber:
    """Temperatures of air and walls, °C, shape (2 levels, nodes), and how they change."""

    def __init__(self, pit: Pit, ambient_celsius: float) -> None:
        self._pit = pit
        n = _NODES
        self.x_m: Array = (np.arange(n) + 0.5) * pit.length_m / n
        """Centres of the nodes."""
        self.air: Array = np.full((2, n), ambient_celsius)
        self.wall: Array = np.full((2, n), ambient_celsius)
        self.high = min(1.0, max(0.0, pit.stack_inlet_m / pit.lid_m))
        """1 with the stack beginning at the lid, 0 at the grate."""
        stagnant = self.high * (1.0 - pit.high_stack_mixing) * (0.2 + 1.6 * self.x_m / pit.length_m)
        self._mixing: Array = pit.mixing / n * np.clip(1.0 - stagnant, 0.0, None)
        edges = np.linspace(0.0, 1.0, n + 1)
        share = pit.grate_share * (1.0 - self.high * (0.15 + 0.8 * edges**1.5))
        share = share + (1.0 - self.high) * (0.9 - pit.grate_share) * edges**3
        self._share: Array = np.vstack([share, 1.0 - share])
        """Share of the stream that flows at each level past each edge, shape (2, nodes + 1)."""
        self._rising: Array = np.clip(share[:-1] - share[1:], 0.0, None)
        self._sinking: Array = np.clip(share[1:] - share[:-1], 0.0, None)
        mouth = np.exp(-self.x_m / (0.18 * pit.length_m))
        self._mouth: Array = mouth / mouth.sum()

    def flow_capacity(self, ambient_celsius: float, opening: float) -> float:
        """Return the stream's W/K from the draught, g p h / R (1/To − 1/Ti), with flow as its square root.

        A fire in a cold pit makes its own draught, as if the stack were 40 K above the air outside.

        Args:
            ambient_celsius: air outside.
            opening: air intake against its usual setting.
        """
        inside = max(ambient_celsius + 40.0, float(self.air[:, -1].mean())) + 273.15
        height = self._pit.stack_pipe_m + self._pit.stack_inlet_m
        pull = 0.034163 * _PASCAL * height * (1.0 / (ambient_celsius + 273.15) - 1.0 / inside)
        reference = 0.034163 * _PASCAL * 0.75 * (1.0 / 283.15 - 1.0 / 408.15)
        return self._pit.flow_capacity * opening * math.sqrt(pull / reference)

    def step(
        self,
        seconds: float,
        *,
        inlet_celsius: float,
        flow_capacity: float,
        ambient_celsius: float,
        wind: float,
        door_open: bool,
        leak: Array,
    ) -> None:
        """Advance by `seconds`.

        Args:
            seconds: length of the step, at most 3.
            inlet_celsius: gas from the firebox.
            flow_capacity: W/K of the stream.
            ambient_celsius: air outside.
            wind: m/s past the shell.
            door_open: whether the door of the chamber is open.
            leak: W/K of outside air drawn in at each node of the grate, shape (nodes,).
        """
        pit, n = self._pit, _NODES
        air, wall = self.air, self.wall
        capacity = pit.air_capacity / n
        upstream = np.empty_like(air)
        upstream[:, 1:] = air[:, :-1]
        upstream[_TOP, 0] = inlet_celsius
        # What enters below the baffle has given up part of its heat to it and drawn chamber air along.
        upstream[_GRATE, 0] = inlet_celsius + pit.entrained * (air[_GRATE, 0] - inlet_celsius)
        stream = flow_capacity * (0.35 if door_open else 1.0)
        watts = stream * self._share[:, :-1] * (upstream - air)
        difference = air[_TOP] - air[_GRATE]
        watts[_GRATE] += (self._mixing + stream * self._sinking) * difference
        watts[_TOP] -= (self._mixing + stream * self._rising) * difference
        rolled = pit.axial_mixing * (air[:, 1:] - air[:, :-1])
        watts[:, :-1] += rolled
        watts[:, 1:] -= rolled
        watts[_GRATE] += pit.firebox_radiation * (inlet_celsius - air[_GRATE]) * self._mouth
        inward = pit.inner_conductance / n * (air - wall)
        watts -= inward
        watts[_GRATE] -= leak * (air[_GRATE] - ambient_celsius)
        if door_open:
            watts -= _DOOR / n * (air - ambient_celsius)
        outer = pit.outer_conductance * (1.0 + 0.07 * wind) / n
        lost = outer * (wall - ambient_celsius)
        # The ends lose through their plates as well.
        lost[:, -1] *= 1.3
        if door_open:
            lost[_TOP] *= 1.5
        self.air = air + watts * (seconds / capacity)
        self.wall = wall + (inward - lost) * (seconds * n / pit.wall_capacity)
