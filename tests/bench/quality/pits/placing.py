"""Probes of mixed makes in the places where pitmasters put them, often bad ones."""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

__all__ = ["Place", "draw_places"]

PLACEMENT_M = 0.015
"""Standard deviation of where a probe really is, each way."""
PERIODS = (1.0, 2.0, 5.0, 6.0, 10.0, 15.0, 20.0, 30.0, 60.0)
PERIOD_WEIGHTS = (0.02, 0.05, 0.13, 0.1, 0.2, 0.15, 0.1, 0.15, 0.1)
QUANTA = {"F": (0.1, 0.5, 1.0), "C": (0.1, 0.5)}
LEAST_GAP_M = 0.07


@dataclass(frozen=True, slots=True)
class Place:
    """One probe: what its owner knows of it, and what it is really like."""

    name: str
    kind: str
    """grate, top, flue, ambient or meat."""
    transport: str
    unit: str
    period: float
    quantum: float
    nominal: tuple[float, float, float] | None
    """m: x from the firebox, y < 0 on the door's side, z from the floor."""
    real: tuple[float, float, float] | None
    lag: float
    """s"""
    noise: float
    """°F"""
    offset: float
    """°F"""


def draw_places(random: Generator, length: float, width: float, grate_z: float) -> list[Place]:
    """Draw the probes of a pit: 4 to 16 at the grate, perhaps some above, flue, air and two in the meat."""
    u = random.uniform
    count = int(random.choice([4, 5, 6, 7, 8, 9, 10, 12, 14, 16]))
    found: list[tuple[float, float]] = []
    # a third of the pits have their probes where it was handy: towards one end or one side
    handy = u() < 0.33
    x_power, y_side = float(np.exp(u(-0.7, 0.7))) if handy else 1.0, u(-0.5, 0.5) if handy else 0.0
    for _ in range(400):
        x = (0.04 + 0.92 * u() ** x_power) * length
        y = float(np.clip(u(-0.43, 0.43) + 0.4 * y_side, -0.44, 0.44)) * width
        if len(found) < count and all(np.hypot(x - a, y - b) > LEAST_GAP_M for a, b in found):
            found.append((x, y))
    places = [
        _draw(random, f"g{k + 1}", "grate", (x, y, grate_z + u(0.005, 0.05))) for k, (x, y) in enumerate(sorted(found))
    ]
    for k in range(int(random.integers(0, 3))):
        at = (u(0.1, 0.9) * length, u(-0.3, 0.3) * width, grate_z + u(0.35, 0.6) * (width - grate_z))
        places.append(_draw(random, f"t{k + 1}", "top", at))
    places += [_draw(random, name, name, None) for name in ("flue", "ambient") if u() < 0.7]
    return places + [_draw(random, name, "meat", None) for name in ("point", "flat")]


def _draw(random: Generator, name: str, kind: str, nominal: tuple[float, float, float] | None) -> Place:
    u = random.uniform
    unit = "F" if u() < 0.75 else "C"
    real = None if nominal is None else tuple(float(a + random.normal(0.0, PLACEMENT_M)) for a in nominal)
    return Place(
        name,
        kind,
        str(random.choice(["ble", "mqtt"])),
        unit,
        float(random.choice(PERIODS, p=PERIOD_WEIGHTS)),
        float(random.choice(QUANTA[unit])),
        nominal,
        real,
        float(u(8.0, 60.0)),
        float(np.exp(u(np.log(0.1), np.log(0.8)))),
        float(random.normal(0.0, 1.5)),
    )
