"""One level of the chamber: its probes in use, its field, its zones as linear functions of the probes' values."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from collector.model.field import Array, FieldModel, gaussian
from collector.model.plan import GRATE, Plan, Zone
from collector.snapshot import FieldView

__all__ = ["Level", "neighbours"]

LENGTH_SHARE_X = 0.30
LENGTH_SHARE_Y = 0.60
"""Length scales as shares of the chamber's length and width: a wall or a leak is felt over a hand or two along the
pit and over most of its width (common practice, no source)."""
SIGMA_KELVIN = {GRATE: 7.0}
SIGMA_ELSEWHERE_KELVIN = 14.0
"""The air under the lid differs twice as much from place to place as that at the grate (common practice, no source)."""
NEIGHBOUR_CORRELATION = 0.5


@dataclass(frozen=True, slots=True)
class _Solved:
    """What depends only on which probes are used."""

    used: tuple[int, ...]
    model: FieldModel
    zone_weights: Array
    zone_sd: Array
    level_weights: Array


class Level:
    """Estimates the level's mean, its zones and its field from whatever probes are usable now.

    Args:
        plan: the cook's set-up.
        name: which level.
    """

    def __init__(self, plan: Plan, name: str) -> None:
        self.name = name
        self.probes = tuple(
            i for i, p in enumerate(plan.probes) if p.duty == "chamber" and p.level == name and p.x_m is not None
        )
        self.zones = tuple(i for i, z in enumerate(plan.zones) if z.level == name)
        self._plan = plan
        self._cache: dict[tuple[int, ...], _Solved] = {}

    def _used(self, usable: NDArray[np.bool_]) -> tuple[int, ...]:
        return tuple(i for i in self.probes if usable[i])

    def _solve(self, used: tuple[int, ...]) -> _Solved:
        solved = self._cache.get(used)
        if solved is None:
            if len(self._cache) >= 64:
                self._cache.clear()
            solved = self._cache[used] = self._factor(used)
        return solved

    def _factor(self, used: tuple[int, ...]) -> _Solved:
        plan, chamber = self._plan, self._plan.chamber
        probes = [plan.probes[i] for i in used]
        model = FieldModel(
            np.array([p.x_m for p in probes], dtype=np.float64),
            np.array([p.y_m for p in probes], dtype=np.float64),
            np.array([p.tolerance_kelvin for p in probes], dtype=np.float64),
            sigma_kelvin=SIGMA_KELVIN.get(self.name, SIGMA_ELSEWHERE_KELVIN),
            length_x_m=LENGTH_SHARE_X * chamber.length_m,
            length_y_m=LENGTH_SHARE_Y * chamber.width_m,
        )
        blocks = [model.block(*_points(plan.zones[z])) for z in self.zones]
        whole = Zone(self.name, self.name, 0.0, chamber.length_m, 0.0, chamber.width_m)
        return _Solved(
            used,
            model,
            np.array([w for w, _ in blocks]).reshape(len(blocks), len(used)),
            np.array([sd for _, sd in blocks]),
            model.block(*_points(whole))[0],
        )

    def zones_and_mean(self, celsius: Array, usable: NDArray[np.bool_]) -> tuple[Array, Array, float]:
        """Estimate the zones' means, their deviations and the level's mean.

        Args:
            celsius: newest values of all probes of the plan, shape (probes,).
            usable: which of them may be used, shape (probes,).

        Returns:
            Zone means and standard deviations, shape (zones of this level,), and the level's mean; NaN without probes.
        """
        used = self._used(usable)
        if not used:
            nothing = np.full(len(self.zones), np.nan)
            return nothing, nothing, float("nan")
        solved = self._solve(used)
        values = celsius[list(used)]
        return solved.zone_weights @ values, solved.zone_sd, float(solved.level_weights @ values)

    def residuals(self, celsius: Array, usable: NDArray[np.bool_], heard: NDArray[np.bool_]) -> Array:
        """Compare each heard probe with what the other usable ones say of its place.

        Returns:
            Value less prediction, shape (probes of this level,), kelvin; NaN where there is no telling (fewer than
            four others).
        """
        residual = np.full(len(self.probes), np.nan)
        used = self._used(usable)
        if len(used) < 4:
            return residual
        solved = self._solve(used)
        values = celsius[list(used)]
        place = {probe: k for k, probe in enumerate(self.probes)}
        residual[[place[probe] for probe in used]] = solved.model.leave_one_out(values)[0]
        for probe in self.probes:
            if heard[probe] and not usable[probe]:
                p = self._plan.probes[probe]
                predicted = solved.model.mean_at(values, np.array([p.x_m]), np.array([p.y_m]))[0]
                residual[place[probe]] = celsius[probe] - predicted
        return residual

    def mean_at(self, celsius: Array, usable: NDArray[np.bool_], x_m: Array, y_m: Array) -> Array:
        """Estimate the field at places, shape (m,), degrees Celsius; NaN without probes."""
        used = self._used(usable)
        if not used:
            return np.full(x_m.shape, np.nan)
        return self._solve(used).model.mean_at(celsius[list(used)], x_m, y_m)

    def view(self, celsius: Array, usable: NDArray[np.bool_]) -> FieldView | None:
        """Hand out the solved field for drawing; None without probes."""
        used = self._used(usable)
        if not used:
            return None
        model = self._solve(used).model
        return FieldView(
            self.name,
            tuple(model.x_m.tolist()),
            tuple(model.y_m.tolist()),
            tuple(celsius[list(used)].tolist()),
            tuple(model.noise_kelvin.tolist()),
            model.sigma_kelvin,
            model.length_x_m,
            model.length_y_m,
        )


def neighbours(plan: Plan) -> NDArray[np.bool_]:
    """Tell which chamber probes of one level are so near that the field ties them, shape (probes, probes)."""
    lx, ly = LENGTH_SHARE_X * plan.chamber.length_m, LENGTH_SHARE_Y * plan.chamber.width_m
    x = np.array([np.nan if p.x_m is None else p.x_m for p in plan.probes])
    y = np.array([np.nan if p.y_m is None else p.y_m for p in plan.probes])
    level = np.array([p.level if p.duty == "chamber" else f"not {i}" for i, p in enumerate(plan.probes)])
    tied = gaussian((x[:, None] - x[None, :]) / lx, (y[:, None] - y[None, :]) / ly) > NEIGHBOUR_CORRELATION
    near: NDArray[np.bool_] = tied & (level[:, None] == level[None, :])
    np.fill_diagonal(near, False)
    return near


def _points(zone: Zone, columns: int = 9, rows: int = 6) -> tuple[Array, Array]:
    """Spread points evenly over a zone, each the centre of an equal cell."""
    x = zone.x0_m + (np.arange(columns) + 0.5) / columns * (zone.x1_m - zone.x0_m)
    y = zone.y0_m + (np.arange(rows) + 0.5) / rows * (zone.y1_m - zone.y0_m)
    xx, yy = np.meshgrid(x, y)
    return xx.ravel(), yy.ravel()
