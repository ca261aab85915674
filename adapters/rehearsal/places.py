"""From the nodes of the chamber to any place: probes and zones as weights over the nodes.

Temperature at (x, y) is that of the node line at x plus a profile across: hotter at both walls (their share of the
radiation), a little colder at the door. The profile has no mean, and grows with how far the pit is above the night.
A pit with a pattern has that on top, at the grate.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.night import AirLeak, Zone
from adapters.rehearsal.pit import Pattern, Pit, RehearsalProbe

__all__ = ["Places"]

Array = NDArray[np.float64]
_USUAL_RISE_KELVIN = 97.0


class Places:
    """Weights of a list of places, each a (level, x, y) point or a zone."""

    def __init__(self, pit: Pit, x_m: Array, places: Sequence[RehearsalProbe | Zone]) -> None:
        """Work out the weights.

        Args:
            pit: chamber measures and the profile across.
            x_m: node centres, shape (nodes,).
            places: probes and zones, in the order in which values will be given.
        """
        nodes = len(x_m)
        self._samples: list[tuple[bool, Array, Array]] = []
        self._weights: Array = np.zeros((len(places), 2 * nodes))
        self._across: Array = np.zeros(len(places))
        self._pattern = pit.pattern
        self._steady: Array = np.zeros(len(places))
        self._bumps: Array = np.zeros(len(places))
        self._along: Array = np.zeros(len(places))
        for row, place in enumerate(places):
            if isinstance(place, Zone):
                xs = np.linspace(place.x0_m, place.x1_m, 25)
                ys = np.linspace(place.y0_m, place.y1_m, 25)
            else:
                xs, ys = np.array([place.x_m]), np.array([place.y_m])
            self._samples.append((place.level == "grate", xs, ys))
            first = nodes if place.level == "top" else 0
            hats = np.array([np.interp(xs, x_m, column) for column in np.eye(nodes)])
            self._weights[row, first : first + nodes] = hats.mean(axis=1)
            off_middle = 2.0 * ys / pit.width_m - 1.0
            profile = pit.wall_excess_kelvin * (off_middle**2 - 1.0 / 3.0) - pit.door_deficit_kelvin * off_middle
            self._across[row] = profile.mean()
            if pit.pattern is not None and place.level == "grate":
                self._steady[row] = _walls(pit, pit.pattern, xs, ys)
                self._bumps[row] = _bumps(pit.pattern, xs, ys)
                self._along[row] = 2.0 * xs.mean() / pit.length_m - 1.0

    def celsius(self, air: Array, ambient_celsius: float, fire_kelvin: float = 0.0, gust: float = 0.0) -> Array:
        """Return the temperature of each place, °C, shape (places,).

        Args:
            air: nodes of the chamber, °C, shape (2, nodes).
            ambient_celsius: air outside.
            fire_kelvin: firebox over the air outside; only a pattern asks, as for the next.
            gust: wind above its mean, m/s.
        """
        rise = (air[0].mean() - ambient_celsius) / _USUAL_RISE_KELVIN
        values: Array = self._weights @ air.ravel() + self._across * rise
        pattern = self._pattern
        if pattern is not None:
            flare = 1.0 + pattern.flare_share * (min(2.0, fire_kelvin / pattern.usual_fire_kelvin) - 1.0)
            along = pattern.tilt_kelvin - pattern.gust_kelvin * gust
            values += rise * (self._steady + flare * self._bumps + along * self._along)
        return values

    def pool(self, leak: AirLeak) -> Array:
        """Return how much of a full-sized leak's unmixed cold lies at each place, kelvin, shape (places,)."""
        depth = np.zeros(len(self._samples))
        for row, (at_grate, xs, ys) in enumerate(self._samples):
            if at_grate:
                along = np.exp(-0.5 * ((xs - leak.x_m) / leak.reach_m) ** 2).mean()
                across = np.exp(-0.5 * ((ys - leak.y_m) / (2.0 * leak.reach_m)) ** 2).mean()
                depth[row] = leak.pool_kelvin * along * across
        return depth


def _walls(pit: Pit, pattern: Pattern, xs: Array, ys: Array) -> float:
    """Give the mean of what the four walls do at the points of xs by ys, kelvin."""
    reach = pattern.wall_reach_m
    along = pattern.fire_end_kelvin * np.exp(-xs / reach)
    along = along + pattern.stack_end_kelvin * np.exp((xs - pit.length_m) / reach)
    across = pattern.back_kelvin * np.exp(-ys / reach) + pattern.door_kelvin * np.exp((ys - pit.width_m) / reach)
    return float(along.mean() + across.mean())


def _bumps(pattern: Pattern, xs: Array, ys: Array) -> float:
    """Give the mean of the bumps at the points of xs by ys, kelvin."""
    total = 0.0
    for bump in pattern.bumps:
        along = np.exp(-0.5 * ((xs - bump.x_m) / bump.reach_x_m) ** 2).mean()
        across = np.exp(-0.5 * ((ys - bump.y_m) / bump.reach_y_m) ** 2).mean()
        total += bump.kelvin * float(along * across)
    return total
