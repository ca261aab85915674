"""What is usual in this pit: how far each zone lay below its level in the cooks before, and in what weather."""

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from collector.model.comparison import student_quantile
from collector.model.field import Array
from collector.model.plan import GRATE, Plan, Zone
from collector.model.robust import median
from collector.store.record import Cook, Record

__all__ = ["COOKS", "WEATHERS", "CookUsual", "ZoneUsual", "usual_cooks", "usual_deficits", "usual_zones"]

COOKS = 5
"""The newest so many count: a pit is changed now and then."""
LEAST_SECONDS = 3600.0
TREND_SECONDS = 10.0
WEATHERS = (("cold", -math.inf, 5.0), ("mild", 5.0, 20.0), ("warm", 20.0, math.inf))
"""Kinds of night by the air outside, from and to, degrees Celsius (our own division)."""
LEAST_FOR_SLOPE, LEAST_RANGE_KELVIN = 6, 5.0


class CookUsual(msgspec.Struct, frozen=True):
    """What one cook tells of what is usual."""

    name: str
    started_unix: float
    hours: float
    """For which the grate stood within its band."""
    grate_celsius: float
    """Median of that time."""
    ambient_celsius: float
    """Air outside, median of that time; NaN where no probe told of it."""
    deficits: tuple[tuple[str, float], ...]
    """Of each zone of the grate that was the same then, kelvin, positive where it lay below the mean."""


class ZoneUsual(msgspec.Struct, frozen=True):
    """What is usual for one zone."""

    name: str
    deficit_kelvin: float
    """Median over the cooks: what the cold-spot rule goes by where it is set against what is usual."""
    sd_kelvin: float
    """From cook to cook; NaN for one cook."""
    cooks: int
    by_weather: tuple[tuple[str, float, int], ...]
    """Kind of night, median and number of cooks, of `WEATHERS`; NaN where there was none."""
    per_kelvin: tuple[float, float, float] | None
    """How much the deficit grows with each kelvin of warmer air outside, and its 95 % interval; None: too few cooks,
    or all in like weather."""


def usual_deficits(archive: Record, cooks: Sequence[Cook], plan: Plan) -> tuple[tuple[str, float], ...]:
    """Learn each grate zone's usual deficit from the newest cooks.

    Args:
        archive: the store.
        cooks: the cooks before, oldest first.
        plan: the set-up now: only zones that were the same then count.

    Returns:
        Name and deficit in kelvin of every zone of which an earlier cook tells, positive where it lay below the mean.
    """
    told = usual_cooks(archive, list(cooks)[-COOKS:], plan)
    return tuple((zone.name, zone.deficit_kelvin) for zone in usual_zones(told))


def usual_cooks(archive: Record, cooks: Sequence[Cook], plan: Plan) -> list[CookUsual]:
    """Read off the record what each cook tells; those in another pit, or hardly ever within the band, tell nothing.

    Of each, medians over the time in which the grate stood within the band; lid openings and warm-up are the smaller
    part of that, so the median passes over them.
    """
    return [told for cook in cooks if (told := _of_cook(archive, cook, plan)) is not None]


def usual_zones(cooks: Sequence[CookUsual]) -> list[ZoneUsual]:
    """Put what the cooks tell together, zone by zone, in the order in which they are first told of."""
    names = dict.fromkeys(name for cook in cooks for name, _ in cook.deficits)
    return [_of_zone(name, [(c.ambient_celsius, dict(c.deficits)[name]) for c in cooks if name in dict(c.deficits)])
            for name in names]  # fmt: skip


def _of_zone(name: str, told: Sequence[tuple[float, float]]) -> ZoneUsual:
    air, deficits = np.array([a for a, _ in told]), np.array([d for _, d in told])
    kinds = []
    for kind, low, high in WEATHERS:
        here = (air >= low) & (air < high)
        kinds.append((kind, float(median(deficits[here])) if here.any() else math.nan, int(here.sum())))
    sd = float(deficits.std(ddof=1)) if len(deficits) > 1 else math.nan
    known = np.isfinite(air)
    return ZoneUsual(
        name, float(median(deficits)), sd, len(deficits), tuple(kinds), _slope(air[known], deficits[known])
    )  # fmt: skip


def _slope(air: Array, deficits: Array) -> tuple[float, float, float] | None:
    """Fit a line by least squares; None where it would tell nothing."""
    if len(air) < LEAST_FOR_SLOPE or np.ptp(air) < LEAST_RANGE_KELVIN:
        return None
    off = air - air.mean()
    slope = float(off @ deficits) / float(off @ off)
    left = deficits - deficits.mean() - slope * off
    freedom = len(air) - 2
    reach = student_quantile(0.975, freedom) * math.sqrt(float(left @ left) / freedom / float(off @ off))
    return slope, slope - reach, slope + reach


def _of_cook(archive: Record, cook: Cook, plan: Plan) -> CookUsual | None:
    plans = archive.plans(cook)
    if not plans:  # deleted since the cooks were listed
        return None
    then = plans[-1][1]
    if then.chamber.length_m != plan.chamber.length_m or then.chamber.width_m != plan.chamber.width_m:
        return None
    columns = {zone.name: then.zones.index(zone) for zone in plan.zones if _same(zone, then.zones)}
    points = [p for p in archive.trend(cook) if then.low_celsius <= p.grate_celsius <= then.high_celsius]
    points = [p for p in points if len(p.zones) == len(then.zones)]
    if len(points) * TREND_SECONDS < LEAST_SECONDS or not columns:
        return None
    grate: Array = np.array([p.grate_celsius for p in points])
    deficits = {name: float(median(grate - np.array([p.zones[k] for p in points]))) for name, k in columns.items()}
    outside = [k for k, probe in enumerate(then.probes) if probe.duty == "ambient"]
    air = np.array([[p.probes[k] for k in outside] for p in points if len(p.probes) == len(then.probes)])
    air = air[np.isfinite(air)]
    return CookUsual(
        cook.name, cook.started_unix, len(points) * TREND_SECONDS / 3600.0, float(median(grate)),
        float(median(air)) if air.size else math.nan,
        tuple((name, deficit) for name, deficit in deficits.items() if deficit == deficit),
    )  # fmt: skip


def _same(zone: Zone, zones: Sequence[Zone]) -> bool:
    return zone.level == GRATE and zone in zones
