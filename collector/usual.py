"""What is usual in this pit: how far each zone lay below its level in the cooks before."""

from collections.abc import Sequence

import numpy as np

from collector.model.field import Array
from collector.model.plan import GRATE, Plan, Zone
from collector.model.robust import median
from collector.store.record import Cook, Record

__all__ = ["usual_deficits"]

COOKS = 5
"""The newest so many count: a pit is changed now and then."""
LEAST_SECONDS = 3600.0
TREND_SECONDS = 10.0


def usual_deficits(archive: Record, cooks: Sequence[Cook], plan: Plan) -> tuple[tuple[str, float], ...]:
    """Learn each grate zone's usual deficit.

    The median over the cooks of the median over the time in which the grate stood within the band; lid openings and
    warm-up are the smaller part of that, so the median passes over them.

    Args:
        archive: the store.
        cooks: the cooks before, oldest first.
        plan: the set-up now: only zones that were the same then count.

    Returns:
        Name and deficit in kelvin of every zone of which an earlier cook tells, positive where it lay below the mean.
    """
    found: dict[str, list[float]] = {}
    for cook in list(cooks)[-COOKS:]:
        for name, deficit in _of_cook(archive, cook, plan).items():
            found.setdefault(name, []).append(deficit)
    return tuple((name, float(median(np.array(values)))) for name, values in found.items())


def _of_cook(archive: Record, cook: Cook, plan: Plan) -> dict[str, float]:
    plans = archive.plans(cook)
    if not plans:  # deleted since the cooks were listed
        return {}
    then = plans[-1][1]
    if then.chamber.length_m != plan.chamber.length_m or then.chamber.width_m != plan.chamber.width_m:
        return {}
    columns = {zone.name: then.zones.index(zone) for zone in plan.zones if _same(zone, then.zones)}
    points = [p for p in archive.trend(cook) if then.low_celsius <= p.grate_celsius <= then.high_celsius]
    points = [p for p in points if len(p.zones) == len(then.zones)]
    if len(points) * TREND_SECONDS < LEAST_SECONDS or not columns:
        return {}
    grate: Array = np.array([p.grate_celsius for p in points])
    deficits = {name: median(grate - np.array([p.zones[k] for p in points])) for name, k in columns.items()}
    return {name: float(deficit) for name, deficit in deficits.items() if deficit == deficit}


def _same(zone: Zone, zones: Sequence[Zone]) -> bool:
    return zone.level == GRATE and zone in zones
