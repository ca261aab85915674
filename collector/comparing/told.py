"""What one cook, or a stretch of it, tells a comparison: its steady minutes, and the numbers it has one of."""

import math
from collections.abc import Sequence

import msgspec
import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from collector.model.comparison import CookNumber
from collector.model.difference import AIR_KNOWN, AIR_NOT_KNOWN, GUESSED_CELSIUS, PlacedProbe, Stretch
from collector.model.field import Array
from collector.model.plan import GRATE, Plan
from collector.report.fuel import fuel_log
from collector.report.minutes import Minutes, minutes_of
from collector.report.played import Played

__all__ = ["CookTold", "scaled", "tell"]

BELOW_BAND_KELVIN = 10.0
"""A pit this far below its band is no longer the one that is compared."""
LEAST_SHARE = 0.7
"""A probe that is believed in fewer of the steady minutes than this is left out, rather than the minutes."""
LEAST_MINUTES = 30
LEAST_RISE_KELVIN = 30.0
"""A pit that cooks stands at least this far over the air outside."""
MEAT_CELSIUS = (40.0, 90.0)
HOUR, MINUTE = 3600.0, 60.0


class CookTold(msgspec.Struct, frozen=True):
    """One cook, or a stretch of it."""

    name: str
    """As it was asked for."""
    cook: str
    started_unix: float
    plan: Plan
    stretch: Stretch
    minutes: int
    """Steady ones that are used."""
    left_out_minutes: int
    """Warm-up, lid openings, a pit far below its band, minutes without a probe."""
    left_out_probes: tuple[str, ...]
    """Of the chamber, not believed for long enough."""
    grate_celsius: float
    """Mean of the grate over the minutes used."""
    ambient_celsius: float
    """Air outside; NaN where it was not recorded."""
    rhythm: CookNumber | None
    """Minutes between refuels."""
    stall: CookNumber | None
    """Hours, the mean of its parts."""
    flat_less_point: CookNumber | None
    """Kelvin, while both are on their way."""

    @property
    def rise_kelvin(self) -> float:
        """How far the grate stood over the air outside, guessed where that was not recorded."""
        ambient = self.ambient_celsius
        rise = self.grate_celsius - (GUESSED_CELSIUS if math.isnan(ambient) else ambient)
        return max(rise, LEAST_RISE_KELVIN)


def tell(played: Played, name: str, start_unix: float = -math.inf, end_unix: float = math.inf) -> CookTold:
    """Read a cook as a comparison takes it.

    Args:
        played: the cook, played once more.
        name: as it was asked for.
        start_unix: from when on it counts.
        end_unix: until when.

    Raises:
        ValueError: it has too few steady minutes, or too few probes; the message says what.
    """
    plan = played.plan
    minutes = minutes_of(
        played.trend_unix, played.grate_celsius, played.zone_celsius, played.probe_celsius, played.moments
    )
    within = (minutes.unix >= max(start_unix, *played.plan_changes_unix, -math.inf)) & (minutes.unix < end_unix)
    steady = within & minutes.steady & (minutes.grate >= plan.low_celsius - BELOW_BAND_KELVIN)
    if steady.sum() < LEAST_MINUTES:
        raise ValueError(
            f"{name}: only {int(steady.sum())} steady minutes, of which it takes {LEAST_MINUTES}: with the fire not "
            f"yet, or no longer, in its band, or the lid open, there is nothing to compare{_changed(played)}"
        )
    rows = _rows_to_use(minutes, plan, steady)
    left_out = tuple(p.name for k, p in enumerate(plan.probes) if _in_chamber(plan, k) and k not in rows)
    if sum(plan.probes[k].level == GRATE for k in rows) < 2:
        raise ValueError(f"{name}: fewer than two probes at the grate were believed for long enough to compare")
    used = steady & minutes.believed[rows].all(axis=0) & np.isfinite(minutes.probes[rows]).all(axis=0)
    ambient = _ambient(minutes, plan, used)
    stretch = Stretch(
        played.cook.name, tuple(_placed(plan, k) for k in rows), np.ascontiguousarray(minutes.probes[rows][:, used].T),
        scale_sd=AIR_NOT_KNOWN if math.isnan(ambient) else AIR_KNOWN,
    )  # fmt: skip
    counts = {"minutes": int(used.sum()), "left_out_minutes": int(within.sum() - used.sum())}
    return CookTold(
        name, played.cook.name, played.cook.started_unix, plan, stretch, **counts, left_out_probes=left_out,
        grate_celsius=float(np.nanmean(minutes.grate[used])), ambient_celsius=ambient,
        rhythm=_rhythm(played, start_unix, end_unix), stall=_stall(played, start_unix, end_unix),
        flat_less_point=_flat_less_point(played, minutes, within),
    )  # fmt: skip


def _changed(played: Played) -> str:
    """Say from when on a cook counts whose set-up was changed on the way."""
    return "; it counts from the last change of its set-up on" if played.plan_changes_unix else ""


def scaled(cooks: Sequence[CookTold], rise_kelvin: float) -> tuple[Stretch, ...]:
    """Bring the differences within each chamber to those of a night with this rise over the air outside."""
    return tuple(replace(cook.stretch, scale=rise_kelvin / cook.rise_kelvin) for cook in cooks)


def _in_chamber(plan: Plan, k: int) -> bool:
    probe = plan.probes[k]
    return probe.duty == "chamber" and probe.level is not None and probe.x_m is not None and probe.y_m is not None


def _rows_to_use(minutes: Minutes, plan: Plan, steady: NDArray[np.bool_]) -> list[int]:
    """Give the chamber probes that are believed long enough, the others being left out one by one, worst first."""
    rows = [k for k in range(len(plan.probes)) if _in_chamber(plan, k)]
    good = minutes.believed & np.isfinite(minutes.probes)
    rows = [k for k in rows if good[k, steady].mean() >= LEAST_SHARE]
    while len(rows) > 2 and good[rows][:, steady].all(axis=0).mean() < LEAST_SHARE:
        rows.remove(min(rows, key=lambda k: good[k, steady].mean()))
    return rows


def _placed(plan: Plan, k: int) -> PlacedProbe:
    probe = plan.probes[k]
    assert probe.level is not None, "chamber probes are chosen by having a place"
    assert probe.x_m is not None, "chamber probes are chosen by having a place"
    assert probe.y_m is not None, "chamber probes are chosen by having a place"
    identity = f"{probe.source}/{probe.key} {probe.gain} {probe.added_kelvin}"  # calibrated anew it errs anew
    return PlacedProbe(probe.name, identity, probe.level, probe.x_m, probe.y_m, probe.tolerance_kelvin)


def _ambient(minutes: Minutes, plan: Plan, used: NDArray[np.bool_]) -> float:
    rows = [k for k, probe in enumerate(plan.probes) if probe.duty == "ambient"]
    told = np.where(minutes.believed[rows], minutes.probes[rows], np.nan)[:, used]
    ambient = float(np.nanmedian(told)) if np.isfinite(told).any() else math.nan
    # a probe "outside" that lies in the smoke, or in the sun on the lid, tells nothing of the air
    return ambient if float(np.nanmean(minutes.grate[used])) - ambient >= LEAST_RISE_KELVIN else math.nan


def _rhythm(played: Played, start_unix: float, end_unix: float) -> CookNumber | None:
    """Give the mean of the intervals between refuels, those a split was missed in divided, in minutes."""
    fuel = fuel_log([m for m in played.marks if start_unix <= m.time_unix < end_unix])
    gaps: Array = np.diff(np.array([r.time_unix for r in fuel.refuels], dtype=np.float64)) / MINUTE
    gaps = gaps[gaps > 0.0]
    if gaps.size < 3 or fuel.interval_seconds is None:
        return None
    usual = float(np.quantile(gaps, 0.25))
    gaps = gaps / np.maximum(np.round(gaps / usual), 1.0)
    return CookNumber(float(gaps.mean()), float(gaps.var(ddof=1)) / gaps.size)


def _stall(played: Played, start_unix: float, end_unix: float) -> CookNumber | None:
    """Give how long the stall of the meat lasted, in hours, as a mean over parts that had one and got over it."""
    hours = [
        (part.stall_ended_unix - part.stall_began_unix) / HOUR
        for piece in played.moments[-1].meat
        for part in piece.parts
        if part.stall_began_unix is not None
        and part.stall_ended_unix is not None
        and start_unix <= part.stall_began_unix
        and part.stall_ended_unix < end_unix
    ]
    return CookNumber(float(np.mean(hours))) if hours else None


def _flat_less_point(played: Played, minutes: Minutes, within: NDArray[np.bool_]) -> CookNumber | None:
    """Give how far flats lay below (minus) their points, in kelvin, while both were on their way."""
    apart = []
    for flat, point in _flats_and_points(played):
        pair = minutes.probes[[flat, point]]
        way = within & ((pair >= MEAT_CELSIUS[0]) & (pair <= MEAT_CELSIUS[1])).all(axis=0)
        way &= minutes.believed[[flat, point]].all(axis=0)
        if way.sum() >= LEAST_MINUTES:
            apart.append(float((pair[0] - pair[1])[way].mean()))
    return CookNumber(float(np.mean(apart))) if apart else None


def _flats_and_points(played: Played) -> list[tuple[int, int]]:
    """Give the rows of flat and point of each piece; by the names of the probes where no piece is set up."""
    index = {probe.name: k for k, probe in enumerate(played.plan.probes) if probe.duty == "meat"}
    pairs = []
    for piece in played.moments[-1].meat:
        rows = {part.name: index.get(part.probe) for part in piece.parts}
        flat, point = rows.get("flat"), rows.get("point")
        if flat is not None and point is not None:
            pairs.append((flat, point))
    if pairs:
        return pairs
    flats, points = ([k for name, k in index.items() if word in name.lower()] for word in ("flat", "point"))
    return [(flats[0], points[0])] if len(flats) == len(points) == 1 else []
