"""What a report says of a cook, in numbers: the one value that page, pictures, PDF and document are made of. Pure.

Times are Unix seconds UTC, temperatures degrees Celsius, differences kelvin, places metres; null is what is not known.
"""

import math
from collections.abc import Sequence
from typing import Annotated, Literal

import msgspec
import numpy as np
from msgspec import Meta, Struct

from collector.model.field import Array
from collector.model.plan import GRATE
from collector.report.fuel import Fuel, fuel_log
from collector.report.health import Absence, Gap, ProbeHealth, gaps_of, health_of, left_out
from collector.report.maps import ChamberMap, MapFacts, coldest_moment, map_at, maps_over
from collector.report.milestones import Meat, meat_of
from collector.report.minutes import Minutes, is_steady, minutes_of
from collector.report.played import Played
from collector.report.quantities import (
    Celsius,
    Kelvin,
    KelvinMinutes,
    Metres,
    Share,
    Unix,
    UnixOrNone,
    known,
)  # fmt: skip
from collector.report.recovery import Opening, recoveries, usual_swing
from collector.report.survey import Points, Survey, survey_of
from collector.report.waits import Alarms, alarms_of
from collector.snapshot import AlarmState, Snapshot, Verdict

__all__ = ["SCHEMA", "Drawn", "Facts", "HandReading", "Happened", "Reference", "Row", "Told", "ZoneSummary", "tell"]

SCHEMA = 1
"""Of the document; it changes when a field changes its meaning or goes."""
ROW_SECONDS = 1800.0
MAPS_OVER = 4
"""Moments over the steady stretch that are drawn when the reader names none."""
LIDS = {"seen-lid": True, "lid": False}
SAME_SECONDS = 1200.0

Reference = Literal["level", "target"]
Version = Annotated[int, Meta(description="of this document; it changes when a field changes its meaning or goes")]


class CookFacts(Struct, frozen=True):
    """Which cook it was, and under what set-up."""

    name: str
    pit: str
    started_unix: Unix
    ended_unix: UnixOrNone
    """Null while it runs, or where the collector died in it."""
    told_until_unix: Unix
    """Where the record that is reported ends."""
    readings: int
    recorded_by: str
    """Version of coldside that recorded it."""
    tags: tuple[str, ...]
    notes: tuple[str, ...]
    """What was written about it, oldest first."""
    target_celsius: Celsius
    low_celsius: Celsius
    high_celsius: Celsius
    length_m: Metres
    width_m: Metres
    fire_side: str
    set_up_changes_unix: tuple[Unix, ...]
    """When the set-up was changed; the cook is shown under the last one, alarms are those of the time."""


class ZoneSummary(Struct, frozen=True):
    """A zone over the steady stretch."""

    name: str
    level: str
    mean_celsius: Celsius
    least_celsius: Celsius
    most_celsius: Celsius
    deviation_kelvin: Kelvin
    """Mean of the zone less that of its level."""
    in_band_share: Share
    cold_dose_kelvin_minutes: KelvinMinutes
    """Below the lower edge of the band, since the fire was steady."""
    probes: int
    """That lie in it."""


class Row(Struct, frozen=True):
    """The pit over half an hour."""

    time_unix: Unix
    """Its beginning."""
    grate_celsius: Celsius
    """Mean."""
    spread_kelvin: Kelvin
    """Hottest grate zone less coldest, mean."""
    zones_celsius: tuple[Celsius, ...]
    """Means, in the order of `zones`."""
    meat_celsius: tuple[Celsius, ...]
    """Of the meat probes, in the order of `meat_probes`, at its end."""
    phase: str
    """At its end."""


class Happened(Struct, frozen=True):
    """A mark: what the cook did, or the curves show."""

    time_unix: Unix
    kind: str
    text: str
    verdict: str
    """What the cook said of an event that the curves show: `confirmed`, `deleted`, or nothing."""


class HandReading(Struct, frozen=True):
    """A reading by hand, or a score of a bread test."""

    time_unix: Unix
    kind: str
    """`spot` or `bread`."""
    where: str
    x_m: Metres
    y_m: Metres
    celsius: Celsius
    """Of a spot."""
    score: float | None
    """Of bread: 1, as it was, to 5, burnt."""


class Facts(Struct, frozen=True):
    """The report of one cook."""

    schema: Version
    cook: CookFacts
    steady_from_unix: UnixOrNone
    """When the fire was steady first; null: it never was."""
    steady_until_unix: UnixOrNone
    steady_minutes: int
    grate_celsius: Celsius
    """Median of the grate over the steady stretch."""
    spread_kelvin: Kelvin
    """Median of hottest less coldest grate zone over the steady stretch."""
    spread_most_kelvin: Kelvin
    zones: tuple[ZoneSummary, ...]
    meat_probes: tuple[str, ...]
    half_hours: tuple[Row, ...]
    maps: tuple[MapFacts, ...]
    survey: Survey | None
    """Null where there was no steady half hour."""
    swing_kelvin: Kelvin
    """Usual swing of the grate over half an hour, by which lid openings are held to be over."""
    lid_openings: tuple[Opening, ...]
    fuel: Fuel
    alarms: Alarms
    meat: tuple[Meat, ...]
    hand_readings: tuple[HandReading, ...]
    marks: tuple[Happened, ...]
    probes: tuple[ProbeHealth, ...]
    gaps: tuple[Gap, ...]
    """Silences of probes beyond their own limits, oldest first."""
    absences: tuple[Absence, ...]
    """Times in which the collector itself did not listen."""


class Drawn(msgspec.Struct, frozen=True):
    """What pictures need beside the facts."""

    minutes: Minutes
    spread: Array
    """Hottest less coldest grate zone, kelvin, shape (m,)."""
    dose_unix: Array
    """Shape (k,)."""
    dose: Array
    """Cold dose of each zone so far, kelvin minutes, shape (zones, k)."""
    meat: Array
    """°C of the meat probes, shape (meat probes, m)."""
    meat_labels: tuple[str, ...]
    """Part of which piece each is in, or its name."""
    maps: tuple[ChamberMap, ...]


class Told(msgspec.Struct, frozen=True):
    """The report: its facts and what its pictures need."""

    facts: Facts
    drawn: Drawn


def tell(played: Played, reference: Reference = "level", at_unix: Sequence[float] = ()) -> Told:
    """Work out the report of a cook.

    Args:
        played: the cook.
        reference: what the survey's deviations are from: the mean of each place's level, or the target.
        at_unix: the moments whose maps are drawn; none: four over the steady stretch, and the coldest.
    """
    plan, moments, cook = played.plan, played.moments, played.cook
    minutes = minutes_of(
        played.trend_unix, played.grate_celsius, played.zone_celsius, played.probe_celsius, moments
    )  # fmt: skip
    grate_zones = [k for k, z in enumerate(plan.zones) if z.level == GRATE]
    spread = _spread(minutes.zones[grate_zones])
    steady = minutes.steady
    meat_probes = [k for k, p in enumerate(plan.probes) if p.duty == "meat"]
    steady_trend = np.interp(played.trend_unix, minutes.unix, steady) > 0.99 if minutes.unix.size else np.zeros(0, bool)
    swing = usual_swing(played.trend_unix, np.where(steady_trend, played.grate_celsius, np.nan))
    maps = _maps(moments, at_unix)
    which = np.flatnonzero(steady)
    called = [step.key for step in played.alarms if step.after is AlarmState.UNACKNOWLEDGED]
    gaps = [
        gaps_of(probe, heard, cook.started_unix, played.end_unix, played.absences)
        for probe, heard in zip(plan.probes, played.heard_unix, strict=True)
    ]
    residuals = left_out([m for m in moments if is_steady(m)][::15], plan)
    facts = Facts(
        SCHEMA,
        CookFacts(
            cook.name, plan.chamber.name, cook.started_unix, cook.ended_unix, played.end_unix, cook.readings,
            cook.coldside, cook.tags, cook.notes, known(plan.target_celsius), known(plan.low_celsius),
            known(plan.high_celsius), known(plan.chamber.length_m), known(plan.chamber.width_m), plan.chamber.fire_side,
            played.plan_changes_unix,
        ),
        float(minutes.unix[which[0]]) if which.size else None,
        float(minutes.unix[which[-1]]) if which.size else None,
        int(which.size),
        known(_median(minutes.grate[steady])),
        known(_median(spread[steady])),
        known(_most(spread[steady])),
        _zones(played, minutes),
        tuple(plan.probes[k].name for k in meat_probes),
        _rows(minutes, spread, meat_probes, moments),
        tuple(m.facts for m in maps),
        _survey(played, minutes, reference),
        known(swing),
        recoveries(
            played.trend_unix, played.grate_celsius, _openings(played), swing, played.end_unix, plan.target_celsius
        ),
        fuel_log(played.marks),
        alarms_of(played.alarms, played.units, cook.started_unix, played.end_unix),
        meat_of(moments),
        tuple(
            HandReading(
                s.time_unix, s.kind, s.where, s.x_m, s.y_m, known(s.value) if s.kind == "spot" else None,
                s.value if s.kind == "bread" else None,
            ) for s in played.spots
        ),
        tuple(Happened(m.time_unix, m.kind, m.text, str(m.verdict or "")) for m in played.marks),
        tuple(
            health_of(
                probe, verdicts, silences, played.vitals.get(probe.source, ()), residuals.get(probe.name),
                called.count(f"probe-lying/{probe.name}"),
            ) for probe, verdicts, silences in zip(plan.probes, played.verdicts, gaps, strict=True)
        ),
        tuple(sorted((g for silences in gaps for g in silences), key=lambda g: (g.start_unix, g.probe))),
        played.absences,
    )  # fmt: skip
    part_of = {part.probe: f"{piece.name} {part.name}" for piece in moments[-1].meat for part in piece.parts}
    names = [plan.probes[k].name for k in meat_probes]
    return Told(
        facts,
        Drawn(
            minutes, spread, np.array([m.now_unix for m in moments]),
            np.array([[z.cold_dose_kelvin_minutes for z in m.zones] for m in moments], dtype=np.float64)
            .reshape(len(moments), -1).T,
            minutes.probes[meat_probes], tuple(part_of.get(name, name) for name in names), maps,
        ),
    )  # fmt: skip


def _spread(zones: Array) -> Array:
    """Give hottest less coldest, shape (m,); NaN where fewer than two are known."""
    if zones.shape[0] < 2:
        return np.full(zones.shape[1], np.nan)
    told = np.isfinite(zones)
    high = np.where(told, zones, -np.inf).max(axis=0)
    low = np.where(told, zones, np.inf).min(axis=0)
    return np.where(told.sum(axis=0) >= 2, high - low, np.nan)


def _median(values: Array) -> float:
    told = values[np.isfinite(values)]
    return float(np.median(told)) if told.size else math.nan


def _least(values: Array) -> float:
    return -_most(-values)


def _most(values: Array) -> float:
    told = values[np.isfinite(values)]
    return float(told.max()) if told.size else math.nan


def _maps(moments: Sequence[Snapshot], at_unix: Sequence[float]) -> tuple[ChamberMap, ...]:
    """Draw mean, swing and dose of every level, then the moments."""
    levels = moments[-1].chamber.levels
    over = [m for level in levels for m in maps_over(moments, level) if level == GRATE or m.facts.kind == "mean"]
    coldest = coldest_moment(moments)
    if at_unix:
        picked = [("At", min(moments, key=lambda m: abs(m.now_unix - at))) for at in at_unix]
    else:
        steady = [m for m in moments if is_steady(m)] or list(moments)
        at = np.unique(np.linspace(0, len(steady) - 1, MAPS_OVER).round().astype(int)).tolist()
        picked = [("Steady" if is_steady(steady[k]) else "Not steady", steady[k]) for k in at]
        if coldest is not None:
            picked = [(title, m) for title, m in picked if m is not coldest]
            picked = sorted([*picked, ("A zone furthest below its level", coldest)], key=lambda told: told[1].now_unix)
    drawn = [map_at(moment, title) for title, moment in picked]
    return (*over, *(m for m in drawn if m is not None))


def _zones(played: Played, minutes: Minutes) -> tuple[ZoneSummary, ...]:
    plan, last = played.plan, played.moments[-1]
    steady = minutes.steady
    found = []
    for k, zone in enumerate(plan.zones):
        values = minutes.zones[k, steady]
        values = values[np.isfinite(values)]
        deviations = np.array([m.zones[k].deviation_kelvin for m in played.moments if is_steady(m)], dtype=np.float64)
        inside = (values >= plan.low_celsius) & (values <= plan.high_celsius)
        told = deviations[np.isfinite(deviations)]
        found.append(
            ZoneSummary(
                zone.name, zone.level, known(_mean(values)), known(_least(values)),
                known(_most(values)),
                known(float(told.mean())) if told.size else None, known(float(inside.mean())) if values.size else None,
                known(last.zones[k].cold_dose_kelvin_minutes, 1) if zone.level == GRATE else None,
                sum(1 for p in plan.probes if zone.holds(p)),
            )
        )  # fmt: skip
    return tuple(found)


def _rows(
    minutes: Minutes, spread: Array, meat_probes: Sequence[int], moments: Sequence[Snapshot]
) -> tuple[Row, ...]:  # fmt: skip
    if not minutes.unix.size:
        return ()
    spans = np.floor(minutes.unix / ROW_SECONDS)
    told_unix = np.array([m.now_unix for m in moments])
    rows = []
    for span in np.unique(spans):
        here = spans == span
        last = int(np.flatnonzero(here)[-1])
        at = max(0, int(np.searchsorted(told_unix, minutes.unix[last] + 30.0, side="right")) - 1)
        rows.append(
            Row(
                float(span) * ROW_SECONDS, known(_mean(minutes.grate[here])), known(_mean(spread[here])),
                tuple(known(_mean(zone[here])) for zone in minutes.zones),
                tuple(known(float(minutes.probes[k, last])) for k in meat_probes),
                str(moments[at].fire.phase),
            )
        )  # fmt: skip
    return tuple(rows)


def _mean(values: Array) -> float:
    told = values[np.isfinite(values)]
    return float(told.mean()) if told.size else math.nan


def _openings(played: Played) -> list[tuple[float, bool]]:
    """List the lid openings: those seen, and those marked that were not."""
    seen = [m.time_unix for m in played.marks if m.kind == "seen-lid" and m.verdict is not Verdict.DELETED]
    marked = [
        m.time_unix for m in played.marks
        if m.kind == "lid" and not any(abs(m.time_unix - s) <= SAME_SECONDS for s in seen)
    ]  # fmt: skip
    return sorted([(t, True) for t in seen] + [(t, False) for t in marked])


def _survey(played: Played, minutes: Minutes, reference: Reference) -> Survey | None:
    plan = played.plan
    chamber = [k for k, p in enumerate(plan.probes) if p.duty == "chamber" and p.level is not None]
    believed = np.where(minutes.believed[chamber], minutes.probes[chamber], np.nan)
    levels = tuple(str(plan.probes[k].level) for k in chamber)
    zone_sd = np.array([z.sd_kelvin for z in played.moments[-1].zones], dtype=np.float64)
    probes = Points(
        tuple(plan.probes[k].name for k in chamber), levels, believed,
        np.array([plan.probes[k].tolerance_kelvin for k in chamber], dtype=np.float64),
        np.array([level == GRATE for level in levels], dtype=bool),
    )  # fmt: skip
    zones = Points(
        tuple(z.name for z in plan.zones), tuple(z.level for z in plan.zones), minutes.zones, zone_sd,
        np.array([z.level == GRATE for z in plan.zones], dtype=bool),
    )  # fmt: skip
    if reference == "target":
        against, said = np.full(minutes.unix.shape, plan.target_celsius), "the target"
    else:
        against, said = minutes.grate, "the mean of the grate at the same moment"
    centre = _centre(
        played, chamber, np.isfinite(believed[:, minutes.steady]).mean(axis=1) if minutes.steady.any() else None
    )
    return survey_of(minutes.unix, minutes.steady, probes, zones, against, said, centre)


def _centre(played: Played, chamber: Sequence[int], known_share: Array | None) -> int | None:
    """Find the grate probe nearest to the middle of the grate, as a number among the chamber probes.

    Of two that are as near, the one that was known for longer.
    """
    plan = played.plan
    middle = plan.chamber.length_m / 2, plan.chamber.width_m / 2
    found = [
        (
            round(math.hypot((p.x_m or 0.0) - middle[0], (p.y_m or 0.0) - middle[1]), 2),
            0.0 if known_share is None else -float(known_share[at]),
            at,
        )
        for at, k in enumerate(chamber)
        if (p := plan.probes[k]).level == GRATE and p.x_m is not None and p.y_m is not None
    ]
    return min(found)[2] if found else None
