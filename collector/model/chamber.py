"""The chamber as one field over all its levels: zones, level means and the map as linear functions of the probes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from collector.model.field import Array, FieldModel, Walls, gaussian
from collector.model.patches import Patches
from collector.model.plan import GRATE, Plan, Zone
from collector.model.scales import LID_SHARE, PRIOR, Scales, estimate
from collector.snapshot import ChamberView, FieldView, PlaceView

__all__ = ["Chamber", "Estimate", "model_of"]

SLOPE_KELVIN = 25.0
"""How far fire end and stack end may differ by the trend alone, one standard deviation (common practice, no source)."""
WALLS_KELVIN = 3.0
REMEMBERED_KELVIN = 2.0
"""How far a place may have moved from its usual, against its neighbours, since its probe was last believed."""
TIED_X_SHARE, TIED_Y_SHARE = 0.20, 0.50
"""How far a change is felt along and across (see `collector.model.suspects`)."""
LEFT_OVER_SIGMA_KELVIN = 3.0
LEFT_OVER_NOISE_KELVIN = 1.0
COARSE = (24, 9)
"""Columns and rows on which the coldest and the hottest place are looked for."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """What the field says at one look; NaN where no probe tells."""

    zone_celsius: Array
    """Mean of each zone, shape (zones,)."""
    zone_sd_kelvin: Array
    deficit_kelvin: Array
    """Mean of the zone's level less that of the zone, shape (zones,)."""
    deficit_sd_kelvin: Array
    standing_kelvin: Array
    """What the deficit would be if all were as usual, shape (zones,)."""
    level_celsius: Array
    """Mean of each level, shape (levels,)."""


@dataclass(frozen=True, slots=True)
class _Solved:
    """What depends only on which probes tell, and how well."""

    probes: tuple[int, ...]
    model: FieldModel
    zone_weights: Array
    zone_sd: Array
    deficit_weights: Array
    deficit_sd: Array
    level_weights: Array


class Chamber:
    """Estimates zones, levels and map from whatever probes tell now.

    Args:
        plan: the cook's set-up.
        scales: what is known of the field's scales.
    """

    def __init__(self, plan: Plan, scales: Scales = PRIOR) -> None:
        self._plan = plan
        self.levels = plan.chamber.levels
        self._level_of = np.array([self._level_index(i) for i in range(len(plan.probes))], dtype=np.intp)
        self.members = tuple(
            tuple(i for i, at in enumerate(self._level_of.tolist()) if at == k) for k in range(len(self.levels))
        )
        self.zones = tuple(tuple(i for i, z in enumerate(plan.zones) if z.level == name) for name in self.levels)
        self.scales = scales
        self._cache: dict[tuple[tuple[int, ...], tuple[int, ...]], _Solved] = {}
        self._patches: dict[tuple[int, ...], Patches] = {}
        self._left_over: dict[tuple[int, ...], Array] = {}
        self.ties = tuple(self._ties(members) for members in self.members)
        """How strongly the field ties the probes of each level to each other, shape (n, n), 0 to 1; none to itself."""

    def _level_index(self, probe: int) -> int:
        p = self._plan.probes[probe]
        in_air = p.duty == "chamber" and p.level in self.levels and p.x_m is not None
        return self.levels.index(str(p.level)) if in_air else -1

    def _ties(self, probes: tuple[int, ...]) -> Array:
        chamber = self._plan.chamber
        x = np.array([self._plan.probes[i].x_m for i in probes], dtype=np.float64) / chamber.length_m
        y = np.array([self._plan.probes[i].y_m for i in probes], dtype=np.float64) / chamber.width_m
        dx, dy = x[:, None] - x[None, :], y[:, None] - y[None, :]
        tied = gaussian(dx / TIED_X_SHARE, dy / TIED_Y_SHARE)
        np.fill_diagonal(tied, 0.0)
        return tied

    def patches(self, probes: tuple[int, ...]) -> Patches:
        """Give the patches as some probes of one level feel them."""
        made = self._patches.get(probes)
        if made is None:
            if len(self._patches) >= 64:
                self._patches.clear()
            made = self._patches[probes] = self._made_patches(probes)
        return made

    def _made_patches(self, probes: tuple[int, ...]) -> Patches:
        length, width = self._plan.chamber.length_m, self._plan.chamber.width_m
        x = np.array([self._plan.probes[i].x_m for i in probes], dtype=np.float64)
        y = np.array([self._plan.probes[i].y_m for i in probes], dtype=np.float64)
        zones = [self._plan.zones[i] for i in self.zones[self._level_of[probes[0]]]]
        boxes = [(z.x0_m / length, z.x1_m / length, z.y0_m / width, z.y1_m / width) for z in zones]
        return Patches(x / length, y / width, boxes)

    def learn_scales(self, away_kelvin: Array) -> None:
        """Set the scales from what each probe usually differs from its level by, shape (probes,); NaN unknown."""
        known = tuple(np.flatnonzero(np.isfinite(away_kelvin) & (self._level_of >= 0)).tolist())
        if len(known) >= 4:
            self.scales = estimate(lambda scales: self._model(known, (), scales), away_kelvin[list(known)])
            self._cache.clear()

    def _model(self, used: tuple[int, ...], remembered: tuple[int, ...], scales: Scales) -> FieldModel:
        chamber = self._plan.chamber
        indices = (*used, *remembered)
        probes = [self._plan.probes[i] for i in indices]
        doubt = np.array([0.0] * len(used) + [REMEMBERED_KELVIN] * len(remembered))
        grate = [1.0 if name == GRATE else LID_SHARE for name in self.levels]
        return FieldModel(
            np.array([p.x_m for p in probes], dtype=np.float64),
            np.array([p.y_m for p in probes], dtype=np.float64),
            np.hypot(np.array([p.tolerance_kelvin for p in probes], dtype=np.float64), doubt),
            sigma_kelvin=[scales.sigma_kelvin * share for share in grate],
            length_x_m=scales.length_x_share * chamber.length_m,
            length_y_m=scales.length_y_share * chamber.width_m,
            level=self._level_of[list(indices)],
            level_correlation=scales.level_correlation,
            rough_kelvin=scales.rough_kelvin,
            walls=Walls(chamber.width_m, WALLS_KELVIN),
            slope_sd_kelvin_per_m=SLOPE_KELVIN / chamber.length_m,
        )

    def grown(self, level: int, change_kelvin: Array, told: NDArray[np.bool_], wander_kelvin: float) -> Array:
        """Say by how much more than usual the zones of a level lie below its mean, kelvin, shape (zones of it,).

        Args:
            level: number of the level.
            change_kelvin: how far each of its probes stands from its usual, shape (k,).
            told: which of them count, shape (k,).
            wander_kelvin: how far a sound one strays.
        """
        which = np.flatnonzero(told)
        if which.size < 2:
            return np.zeros(len(self.zones[level]))
        probes = tuple(self.members[level][i] for i in which)
        grown, left = self.patches(probes).grown(change_kelvin[which], wander_kelvin)
        return grown + self._left_over_weights(probes) @ left

    def _left_over_weights(self, probes: tuple[int, ...]) -> Array:
        """Krige what no patch explains: local, without a trend; shape (zones of the level, n)."""
        made = self._left_over.get(probes)
        if made is None:
            if len(self._left_over) >= 64:
                self._left_over.clear()
            chamber, level = self._plan.chamber, self._level_of[probes[0]]
            model = FieldModel(
                np.array([self._plan.probes[i].x_m for i in probes], dtype=np.float64),
                np.array([self._plan.probes[i].y_m for i in probes], dtype=np.float64),
                np.full(len(probes), LEFT_OVER_NOISE_KELVIN),
                sigma_kelvin=LEFT_OVER_SIGMA_KELVIN,
                length_x_m=TIED_X_SHARE * chamber.length_m,
                length_y_m=TIED_Y_SHARE * chamber.width_m,
                trend="constant",
            )
            whole = Zone("", "", 0.0, chamber.length_m, 0.0, chamber.width_m)
            here = [self._plan.zones[i] for i in self.zones[level]]
            weights, _ = model.blocks([_points(z) for z in (*here, whole)])
            made = self._left_over[probes] = weights[-1] - weights[:-1]
        return made

    def _solve(self, usable: NDArray[np.bool_], remembered: NDArray[np.bool_]) -> _Solved | None:
        in_air = self._level_of >= 0
        used = tuple(np.flatnonzero(usable & in_air).tolist())
        kept = tuple(np.flatnonzero(remembered & ~usable & in_air).tolist())
        if not used:
            return None
        solved = self._cache.get((used, kept))
        if solved is None:
            if len(self._cache) >= 32:
                self._cache.clear()
            solved = self._cache[used, kept] = self._factor(used, kept)
        return solved

    def _factor(self, used: tuple[int, ...], kept: tuple[int, ...]) -> _Solved:
        plan = self._plan
        probes = (*used, *kept)
        model = self._model(used, kept, self.scales)
        n, zones = len(probes), len(plan.zones)
        zone_weights, deficit_weights = np.full((zones, n), np.nan), np.full((zones, n), np.nan)
        zone_sd, deficit_sd = np.full(zones, np.nan), np.full(zones, np.nan)
        level_weights = np.full((len(self.levels), n), np.nan)
        for k, name in enumerate(self.levels):
            if not np.any(model.level == k):
                continue
            whole = Zone(name, name, 0.0, plan.chamber.length_m, 0.0, plan.chamber.width_m)
            here = np.array(self.zones[k], dtype=np.intp)
            weights, covariance = model.blocks(
                [_points(z) for z in (*(plan.zones[i] for i in self.zones[k]), whole)], k
            )
            variance = np.diag(covariance)
            level_weights[k] = weights[-1]
            zone_weights[here] = weights[:-1]
            zone_sd[here] = np.sqrt(np.maximum(variance[:-1], 0.0))
            deficit_weights[here] = weights[-1] - weights[:-1]
            of_difference = variance[:-1] + variance[-1] - 2.0 * covariance[:-1, -1]
            deficit_sd[here] = np.sqrt(np.maximum(of_difference, 0.0))
        return _Solved(probes, model, zone_weights, zone_sd, deficit_weights, deficit_sd, level_weights)

    def estimate(
        self, celsius: Array, change_kelvin: Array, usable: NDArray[np.bool_], remembered: NDArray[np.bool_]
    ) -> Estimate:
        """Estimate zones and levels.

        Args:
            celsius: newest values of all probes of the plan, shape (probes,); of a remembered one what its usual and
                its neighbours say.
            change_kelvin: how far each stands from its usual, shape (probes,).
            usable: which of them are believed, shape (probes,).
            remembered: which of the others have a usual to go by, shape (probes,).
        """
        solved = self._solve(usable, remembered)
        if solved is None:
            nothing = np.full(len(self._plan.zones), np.nan)
            return Estimate(nothing, nothing, nothing, nothing, nothing, np.full(len(self.levels), np.nan))
        values = celsius[list(solved.probes)]
        return Estimate(
            solved.zone_weights @ values,
            solved.zone_sd,
            solved.deficit_weights @ values,
            solved.deficit_sd,
            solved.deficit_weights @ (values - change_kelvin[list(solved.probes)]),
            solved.level_weights @ values,
        )

    def mean_at(
        self, celsius: Array, usable: NDArray[np.bool_], remembered: NDArray[np.bool_], x_m: Array, y_m: Array
    ) -> Array:
        """Estimate the grate's field at places, shape (m,), degrees Celsius; NaN without probes."""
        solved = self._solve(usable, remembered)
        if solved is None:
            return np.full(x_m.shape, np.nan)
        return solved.model.mean_at(celsius[list(solved.probes)], x_m, y_m)

    def view(
        self, level: str, celsius: Array, usable: NDArray[np.bool_], remembered: NDArray[np.bool_]
    ) -> FieldView | None:
        """Hand out the solved field of a level for drawing; None where the level has no probe."""
        solved, k = self._solve(usable, remembered), self.levels.index(level)
        if solved is None or not np.any(solved.model.level == k):
            return None
        model = solved.model
        values = celsius[list(solved.probes)]
        return FieldView(
            level,
            k,
            tuple(model.x_m.tolist()),
            tuple(model.y_m.tolist()),
            tuple(model.level.tolist()),
            tuple(values.tolist()),
            tuple(model.noise_kelvin.tolist()),
            tuple(model.sigma_kelvin.tolist()),
            model.length_x_m,
            model.length_y_m,
            self.scales.level_correlation,
            self.scales.rough_kelvin,
            WALLS_KELVIN,
            SLOPE_KELVIN / self._plan.chamber.length_m,
            *self._extremes(model, values, k),
        )

    def _extremes(self, model: FieldModel, values: Array, level: int) -> tuple[PlaceView, PlaceView, float]:
        """Find the coldest and the hottest place of a level, and how sure their difference is."""
        chamber = self._plan.chamber
        whole = Zone("", "", 0.0, chamber.length_m, 0.0, chamber.width_m)
        x, y = _points(whole, *COARSE)
        mean, sd = model.mean_at(values, x, y, level), model.sd_at(x, y, level)
        cold, hot = int(np.argmin(mean)), int(np.argmax(mean))
        places = [PlaceView(float(x[i]), float(y[i]), float(mean[i]), float(sd[i])) for i in (cold, hot)]
        return places[0], places[1], model.difference_sd((x[cold], y[cold]), (x[hot], y[hot]), level)


def model_of(field: FieldView, chamber: ChamberView) -> FieldModel:
    """Solve a field again from what was handed out for drawing."""
    return FieldModel(
        np.array(field.x_m),
        np.array(field.y_m),
        np.array(field.noise_kelvin),
        sigma_kelvin=field.sigma_kelvin,
        length_x_m=field.length_x_m,
        length_y_m=field.length_y_m,
        level=np.array(field.levels, dtype=np.intp),
        level_correlation=field.level_correlation,
        rough_kelvin=field.rough_kelvin,
        walls=Walls(chamber.width_m, field.walls_kelvin),
        slope_sd_kelvin_per_m=field.slope_kelvin_per_m,
    )


def _points(zone: Zone, columns: int = 9, rows: int = 6) -> tuple[Array, Array]:
    """Spread points evenly over a zone, each the centre of an equal cell."""
    x = zone.x0_m + (np.arange(columns) + 0.5) / columns * (zone.x1_m - zone.x0_m)
    y = zone.y0_m + (np.arange(rows) + 0.5) / rows * (zone.y1_m - zone.y0_m)
    xx, yy = np.meshgrid(x, y)
    return xx.ravel(), yy.ravel()
