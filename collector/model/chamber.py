"""The chamber as one field over all its levels: zones, level means and the map as linear functions of the probes."""

import math
from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from collector.model.bumps import spread_of, summed
from collector.model.field import Array, FieldModel, Firebox, Walls
from collector.model.patches import Patches
from collector.model.plan import GRATE, Plan, Zone
from collector.model.scales import LID_SHARE, PRIOR, Scales, estimate
from collector.snapshot import ChamberView, FieldView, PatchView, PlaceView

__all__ = ["Chamber", "Effect", "Estimate", "model_of"]

SLOPE_KELVIN = 25.0
"""How far fire end and stack end may differ by the trend alone, one standard deviation (common practice, no source)."""
WALLS_KELVIN = 1.8
FIREBOX_KELVIN, FIREBOX_REACH_SHARE = 20.0, 0.2
"""What the firebox may add at its wall, one standard deviation, and how far it reaches, as a share of the length: a
straight line along the pit is too flat there (tuned on nights of other simulators)."""
REMEMBERED_KELVIN = 2.0
"""How far a place may have moved from its usual, against its neighbours, since its probe was last believed."""
FEWEST = 4
"""Fewer probes than these do not tell a patch from a fault."""
MOST, MANY = 64, 200
ONE_SIDED_95 = 1.645
"""Standard deviations that 95 of 100 values of a normal distribution stay below."""
COARSE = (24, 9)
"""Columns and rows on which the coldest and the hottest place are looked for."""


class Estimate(msgspec.Struct, frozen=True):
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
    level_standing_celsius: Array
    """What that would be if every place stood as usual to its level, shape (levels,)."""


class Effect(msgspec.Struct, frozen=True):
    """What the patches of each level do to its probes and zones."""

    patches: tuple[tuple[PatchView, ...], ...]
    """Of each level."""
    probes_kelvin: Array
    """Added at each probe, shape (probes,)."""
    zones_kelvin: Array
    """Added to each zone's mean, shape (zones,)."""
    zone_sd_kelvin: Array
    deficit_kelvin: Array
    """Added to each zone's deficit, shape (zones,)."""
    deficit_sd_kelvin: Array
    levels_kelvin: Array
    """Added to each level's mean, shape (levels,)."""


class _Solved(msgspec.Struct, frozen=True):
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

    def _level_index(self, probe: int) -> int:
        p = self._plan.probes[probe]
        in_air = p.duty == "chamber" and p.level in self.levels and p.x_m is not None
        return self.levels.index(str(p.level)) if in_air else -1

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
        return Patches(x / length, y / width)

    def changed(
        self, level: int, change_kelvin: Array, told: NDArray[np.bool_], wander_kelvin: float
    ) -> tuple[float, tuple[PatchView, ...]]:
        """Say what has changed on a level.

        Args:
            level: number of the level.
            change_kelvin: how far each of its probes stands from its usual, shape (k,).
            told: which of them count, shape (k,).
            wander_kelvin: how far a sound one strays.

        Returns:
            How far a probe stands from its usual outside all patches, kelvin, and the patches.
        """
        which = np.flatnonzero(told)
        if not FEWEST <= which.size <= MANY:
            return 0.0, ()
        length, width = self._plan.chamber.length_m, self._plan.chamber.width_m
        found = self.patches(tuple(self.members[level][i] for i in which)).likely(change_kelvin[which], wander_kelvin)
        return found.shared_kelvin, tuple(
            PatchView(p.x * length, p.y * width, p.along * length, p.across * width, p.kelvin, p.share)
            for p in found.patches
        )

    def learn_scales(self, away_kelvin: Array) -> bool:
        """Set the scales from what each probe usually differs from its level by, shape (probes,); NaN unknown.

        Returns:
            False where too few are known.
        """
        known = tuple(np.flatnonzero(np.isfinite(away_kelvin) & (self._level_of >= 0)).tolist())
        if len(known) < FEWEST:
            return False
        known = known[:: math.ceil(len(known) / MOST)]  # of very many, some tell as well
        self.scales = estimate(lambda scales: self._model(known, (), scales), away_kelvin[list(known)])
        self._cache.clear()
        return True

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
            firebox=Firebox(FIREBOX_REACH_SHARE * chamber.length_m, FIREBOX_KELVIN),
            slope_sd_kelvin_per_m=SLOPE_KELVIN / chamber.length_m,
        )

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

    def watched(self, limit_kelvin: float, sd_kelvin: Array | None = None) -> NDArray[np.bool_]:
        """Tell which zones are known so well that a deficit at the limit differs from none, at 95 %.

        Args:
            limit_kelvin: of the deficit.
            sd_kelvin: of each zone's deficit, shape (zones,); where all probes tell, if this is None.
        """
        if sd_kelvin is None:
            nobody = np.zeros(len(self._plan.probes), dtype=bool)
            solved = self._solve(~nobody, nobody)
            sd_kelvin = np.full(len(self._plan.zones), np.inf) if solved is None else solved.deficit_sd
        return np.asarray(ONE_SIDED_95 * sd_kelvin <= limit_kelvin)

    def bumps(self, patches: Sequence[tuple[PatchView, ...]]) -> Effect:
        """Work out what the patches of each level do to its probes and zones."""
        plan = self._plan
        probes, probe_sd = np.zeros(len(plan.probes)), np.zeros(len(plan.probes))
        zones, deficit = np.zeros(len(plan.zones)), np.zeros(len(plan.zones))
        zone_sd, deficit_sd = np.zeros(len(plan.zones)), np.zeros(len(plan.zones))
        levels = np.zeros(len(self.levels))
        for k, found in enumerate(patches):
            members, here = list(self.members[k]), list(self.zones[k])
            if not found or not members:
                continue
            x = np.array([plan.probes[i].x_m for i in members], dtype=np.float64)
            y = np.array([plan.probes[i].y_m for i in members], dtype=np.float64)
            at = summed(found, spread_of(found, x, y))
            probes[members], probe_sd[members] = at.mean_kelvin, at.sd_kelvin
            whole = Zone("", "", 0.0, plan.chamber.length_m, 0.0, plan.chamber.width_m)
            each = np.array(
                [spread_of(found, *_points(z)).mean(axis=1) for z in (*(plan.zones[i] for i in here), whole)]
            ).T
            over, of_difference = summed(found, each), summed(found, each[:, -1:] - each[:, :-1])
            zones[here], zone_sd[here] = over.mean_kelvin[:-1], over.sd_kelvin[:-1]
            deficit[here], deficit_sd[here] = of_difference.mean_kelvin, of_difference.sd_kelvin
            levels[k] = over.mean_kelvin[-1]
        return Effect(tuple(patches), probes, zones, zone_sd, deficit, deficit_sd, levels)

    def estimate(
        self,
        celsius: Array,
        change_kelvin: Array,
        effect: Effect,
        usable: NDArray[np.bool_],
        remembered: NDArray[np.bool_],
    ) -> Estimate:
        """Estimate zones and levels.

        Args:
            celsius: newest values of all probes of the plan, shape (probes,); of a remembered one what its usual and
                its neighbours say.
            change_kelvin: how far each stands from its usual, shape (probes,).
            effect: what the patches do.
            usable: which of them are believed, shape (probes,).
            remembered: which of the others have a usual to go by, shape (probes,).
        """
        solved = self._solve(usable, remembered)
        if solved is None:
            nothing = np.full(len(self._plan.zones), np.nan)
            unknown = np.full(len(self.levels), np.nan)
            return Estimate(nothing, nothing, nothing, nothing, nothing, unknown, unknown)
        which = list(solved.probes)
        values = celsius[which] - effect.probes_kelvin[which]
        usual = celsius[which] - change_kelvin[which]
        return Estimate(
            solved.zone_weights @ values + effect.zones_kelvin,
            np.hypot(solved.zone_sd, effect.zone_sd_kelvin),
            solved.deficit_weights @ values + effect.deficit_kelvin,
            np.hypot(solved.deficit_sd, effect.deficit_sd_kelvin),
            solved.deficit_weights @ usual,
            solved.level_weights @ values + effect.levels_kelvin,
            solved.level_weights @ usual,
        )

    def mean_at(
        self,
        celsius: Array,
        effect: Effect,
        usable: NDArray[np.bool_],
        remembered: NDArray[np.bool_],
        x_m: Array,
        y_m: Array,
    ) -> Array:
        """Estimate the grate's field at places, shape (m,), degrees Celsius; NaN without probes."""
        solved = self._solve(usable, remembered)
        if solved is None or not np.any(solved.model.level == 0):
            return np.full(x_m.shape, np.nan)
        which = list(solved.probes)
        values = celsius[which] - effect.probes_kelvin[which]
        added = summed(effect.patches[0], spread_of(effect.patches[0], x_m, y_m)).mean_kelvin
        return solved.model.mean_at(values, x_m, y_m) + added

    def view(
        self,
        level: str,
        celsius: Array,
        effect: Effect,
        usable: NDArray[np.bool_],
        remembered: NDArray[np.bool_],
    ) -> FieldView | None:
        """Hand out the solved field of a level for drawing; None where the level has no probe."""
        solved, k = self._solve(usable, remembered), self.levels.index(level)
        if solved is None or not np.any(solved.model.level == k):
            return None
        model, which = solved.model, list(solved.probes)
        values = celsius[which] - effect.probes_kelvin[which]
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
            effect.patches[k],
            *self._extremes(model, values, k, effect.patches[k]),
            FIREBOX_KELVIN,
        )

    def _extremes(
        self, model: FieldModel, values: Array, level: int, patches: tuple[PatchView, ...]
    ) -> tuple[PlaceView, PlaceView, float]:
        """Find the coldest and the hottest place of a level, and how sure their difference is."""
        chamber = self._plan.chamber
        whole = Zone("", "", 0.0, chamber.length_m, 0.0, chamber.width_m)
        x, y = _points(whole, *COARSE)
        each = spread_of(patches, x, y)
        added = summed(patches, each)
        mean = model.mean_at(values, x, y, level) + added.mean_kelvin
        sd = np.hypot(model.sd_at(x, y, level), added.sd_kelvin)
        cold, hot = int(np.argmin(mean)), int(np.argmax(mean))
        places = [PlaceView(float(x[i]), float(y[i]), float(mean[i]), float(sd[i])) for i in (cold, hot)]
        between = summed(patches, each[:, [hot]] - each[:, [cold]]).sd_kelvin[0]
        apart = model.difference_sd((x[cold], y[cold]), (x[hot], y[hot]), level)
        return places[0], places[1], math.hypot(apart, float(between))


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
        firebox=Firebox(FIREBOX_REACH_SHARE * chamber.length_m, field.firebox_kelvin) if field.firebox_kelvin else None,
        slope_sd_kelvin_per_m=field.slope_kelvin_per_m,
    )


def _points(zone: Zone, columns: int = 9, rows: int = 6) -> tuple[Array, Array]:
    """Spread points evenly over a zone, each the centre of an equal cell."""
    x = zone.x0_m + (np.arange(columns) + 0.5) / columns * (zone.x1_m - zone.x0_m)
    y = zone.y0_m + (np.arange(rows) + 0.5) / rows * (zone.y1_m - zone.y0_m)
    xx, yy = np.meshgrid(x, y)
    return xx.ravel(), yy.ravel()
