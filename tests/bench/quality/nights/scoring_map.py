"""The map of the grate against the true grid: 5-minute means outside door openings."""

import warnings

import numpy as np
from numpy.typing import NDArray

from tests.bench.quality.nights.engine_adapter import PlayedNight
from tests.bench.quality.nights.night_files import Array, Gridded, Night
from tests.bench.quality.nights.reference.map_reference import MAPS, map_of_probes
from tests.bench.quality.nights.reference.screening import screened

__all__ = ["score_map", "score_reference_maps"]

FIRST_SECONDS, STEP_SECONDS, MEAN_SECONDS = 3600.0, 600.0, 300.0
WITHIN = 1.96
THIRDS = ("fire", "middle", "stack")


def _moments(night: Night) -> list[float]:
    """Times at which the map is judged: none near a door opening."""
    return [
        float(t)
        for t in np.arange(FIRST_SECONDS, night.seconds, STEP_SECONDS)
        if not any(start - 360 < t < end + 900 for start, end, _ in night.labels["lid"])
    ]


def _cells(night: Night) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give the zone and the third of each cell of the grid."""
    cells = night.truth["grid_xyz"]
    third = np.minimum((3 * cells[:, 0] / night.probes["chamber"]["length_m"]).astype(int), 2)
    return 2 * third + (cells[:, 1] >= 0), third


def _rows(third: NDArray[np.int64], error: Array, sd: Array, zone_error: Array) -> dict[str, list[float]]:
    covered = np.abs(error) < WITHIN * sd
    row = {"map_square": [float(np.mean(error**2))], "map_zone": [float(np.abs(zone_error).max())]}
    row["map_cover"] = [float(covered.mean())]
    return row | {f"map_cover_{name}": [float(covered[third == k].mean())] for k, name in enumerate(THIRDS)}


def _joined(rows: list[dict[str, list[float]]]) -> dict[str, list[float]]:
    out: dict[str, list[float]] = {}
    for row in rows:
        for name, values in row.items():
            out.setdefault(name, []).extend(values)
    return out


def _truth_at(night: Night, t: float) -> tuple[Array, Array]:
    """Give grid and zones as means over the five minutes up to t."""
    k = (night.truth["t"] > t - MEAN_SECONDS) & (night.truth["t"] <= t)
    return night.truth["grid"][k].mean(0), night.truth["zones"][k].mean(0)


def score_map(night: Night, played: PlayedNight) -> dict[str, list[float]]:
    """Score coldside's map: grid, worst zone deficit, and how often the stated 95 % interval holds the truth."""
    _, third = _cells(night)
    rows = []
    for t in _moments(night):
        k = (played.t > t - MEAN_SECONDS) & (played.t <= t) & np.isfinite(played.map_mean).all(1)
        if k.sum() < 2:
            continue
        grid, zones = _truth_at(night, t)
        error = played.map_mean[k].astype(float).mean(0) - grid
        zone_error = played.deficit[k].mean(0) - (zones.mean() - zones)
        rows.append(_rows(third, error, played.map_sd[k].astype(float).mean(0), zone_error))
    return _joined(rows)


def score_reference_maps(night: Night, readings: Gridded) -> dict[str, dict[str, list[float]]]:
    """Score the reference maps on the screened means of the same five minutes."""
    zone, third = _cells(night)
    chamber, cells = night.probes["chamber"], night.truth["grid_xyz"][:, :2]
    grate = readings.grate
    places = np.array([night.probes["probes"][j]["position"][:2] for j in grate])
    x = np.where(np.isnan(screened(readings)), np.nan, readings.mean[:, grate])
    rows: dict[str, list[dict[str, list[float]]]] = {name: [] for name in MAPS}
    for t in _moments(night):
        k = (readings.t > t - MEAN_SECONDS) & (readings.t <= t)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            values = np.nanmean(x[k], 0)
        known = np.isfinite(values)
        if known.sum() < 4:
            continue
        grid, zones = _truth_at(night, t)
        for name in MAPS:
            mean, sd = map_of_probes(
                name, places[known], values[known], cells, chamber["length_m"], chamber["diameter_m"]
            )
            of_zone = np.array([mean[zone == j].mean() for j in range(len(zones))])
            zone_error = (mean.mean() - of_zone) - (zones.mean() - zones)
            rows[name].append(_rows(third, mean - grid, sd, zone_error))
    return {name: _joined(found) for name, found in rows.items()}
