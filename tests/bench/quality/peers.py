"""What is simpler: fixed thresholds for alarms, and maps without a model. They see the very readings the engine saw.

Values no pit can have (a broken or shorted wire) are left out for them, and they begin when the pit is truly steady.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.night import Night
from collector.model.trouble import FADING_KEY
from tests.bench.quality.recorded import Recorded
from tests.bench.quality.score import Standing, runs

__all__ = ["MAPS", "fixed_cold", "fixed_drift", "idw", "minute_means", "nearest", "plane"]

Array = NDArray[np.float64]
COLD_KELVIN, COLD_MINUTES = 8.3, 5
DRIFT_KELVIN, DRIFT_MINUTES, MEAN_MINUTES = 8.0, 10, 30
POSSIBLE_CELSIUS = (-40.0, 400.0)
STALE_MINUTES = 2


def minute_means(recorded: Recorded) -> Array:
    """Give each probe's mean of every minute, °C, shape (minutes, probes); NaN where it has been silent."""
    minutes = len(recorded.truth.seconds)
    minute = np.minimum((recorded.sent_seconds // 60.0).astype(np.intp), minutes - 1)
    low, high = POSSIBLE_CELSIUS
    fine = (recorded.sent_celsius > low) & (recorded.sent_celsius < high)
    place = (minute[fine], recorded.sent_probe[fine])
    total, count = (np.zeros((minutes, len(recorded.night.probes))) for _ in range(2))
    np.add.at(total, place, recorded.sent_celsius[fine])
    np.add.at(count, place, 1.0)
    with np.errstate(invalid="ignore"):
        means = total / count
    for _ in range(STALE_MINUTES):
        means[1:] = np.where(np.isnan(means[1:]), means[:-1], means[1:])
    return means


def _mean(values: Array) -> Array:
    """Give the mean of each row over what is known; NaN where nothing is."""
    known = np.isfinite(values)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(known, values, 0.0).sum(axis=1) / known.sum(axis=1))


def _on_grate(night: Night) -> list[int]:
    return [row for row, probe in enumerate(night.probes) if probe.duty == "chamber" and probe.level == "grate"]


def _standing(key: str, above: NDArray[np.bool_], minutes: int) -> list[Standing]:
    """Make alarms of runs of at least so many minutes."""
    return [
        Standing(key, 60.0 * (start + minutes), 60.0 * end if end < len(above) else math.inf)
        for start, end in runs(above)
        if end - start >= minutes
    ]


def fixed_cold(night: Night, means: Array, steady: float) -> list[Standing]:
    """Call a zone cold when the plain mean of its probes is 8.3 K below that of all for five minutes."""
    on_grate = _on_grate(night)
    whole = _mean(means[:, on_grate])
    alarms: list[Standing] = []
    for zone in night.zones:
        inside = [
            row for row in on_grate
            if zone.x0_m <= night.probes[row].x_m <= zone.x1_m and zone.y0_m <= night.probes[row].y_m <= zone.y1_m
        ]  # fmt: skip
        if inside:
            below = whole - _mean(means[:, inside]) > COLD_KELVIN
            below[: int(steady // 60.0)] = False
            alarms += _standing(f"cold-spot/{zone.name}", below, COLD_MINUTES)
    return sorted(alarms, key=lambda alarm: alarm.raised)


def fixed_drift(night: Night, means: Array, steady: float) -> list[Standing]:
    """Call a drift when the half-hour mean of the grate is 8 K off what it was at first for ten minutes."""
    whole = _mean(means[:, _on_grate(night)])
    first = int(min(steady, night.duration_seconds) // 60.0)
    if first + MEAN_MINUTES >= len(whole):
        return []
    sums = np.cumsum(np.concatenate([[0.0], np.nan_to_num(whole, nan=float(np.nanmean(whole)))]))
    half_hour = (sums[MEAN_MINUTES:] - sums[:-MEAN_MINUTES]) / MEAN_MINUTES
    off = np.zeros(len(whole), dtype=np.bool_)
    off[MEAN_MINUTES - 1 :] = np.abs(half_hour - half_hour[first]) > DRIFT_KELVIN
    off[: first + MEAN_MINUTES] = False
    return _standing(FADING_KEY, off, DRIFT_MINUTES)


def nearest(x_m: Array, y_m: Array, celsius: Array, at_x: Array, at_y: Array) -> Array:
    """Give each place the value of the probe nearest to it, °C, shape (places,)."""
    away = (at_x[:, None] - x_m) ** 2 + (at_y[:, None] - y_m) ** 2
    return celsius[np.argmin(away, axis=1)]


def idw(x_m: Array, y_m: Array, celsius: Array, at_x: Array, at_y: Array) -> Array:
    """Weigh the probes by the inverse square of their distance (Shepard 1968), °C, shape (places,)."""
    weight = 1.0 / np.maximum((at_x[:, None] - x_m) ** 2 + (at_y[:, None] - y_m) ** 2, 1e-9)
    return np.asarray(weight @ celsius / weight.sum(axis=1))


def plane(x_m: Array, y_m: Array, celsius: Array, at_x: Array, at_y: Array) -> Array:
    """Lay the plane of least squares through the probes, °C, shape (places,)."""
    basis = np.column_stack([np.ones_like(x_m), x_m, y_m])
    fit = np.linalg.lstsq(basis, celsius, rcond=None)[0]
    return np.asarray(np.column_stack([np.ones_like(at_x), at_x, at_y]) @ fit)


MAPS = {"nearest probe": nearest, "inverse distance": idw, "plane": plane}
"""Each takes the probes' places and values and the places asked for."""


def left_out(draw: object, x_m: Array, y_m: Array, celsius: Array) -> Array:
    """Give each probe less what the others say of its place, kelvin, shape (probes,)."""
    assert callable(draw)
    residual = np.empty_like(celsius)
    for row in range(len(celsius)):
        others: Sequence[int] = [other for other in range(len(celsius)) if other != row]
        said = draw(x_m[others], y_m[others], celsius[others], x_m[row : row + 1], y_m[row : row + 1])
        residual[row] = celsius[row] - said[0]
    return residual
