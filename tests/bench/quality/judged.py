"""One night judged: alarms of the engine and of fixed thresholds against the truth, or maps against the true grid."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.drawn import NightKind
from adapters.rehearsal.night import FaultKind, Night, Zone
from tests.bench.quality.peers import MAPS, fixed_cold, fixed_drift, left_out, minute_means
from tests.bench.quality.play import MapLook, Played, plan_of, play
from tests.bench.quality.recorded import CELLS, Recorded, recorded
from tests.bench.quality.score import (
    Outcome,
    Rates,
    Standing,
    cold_outcome,
    false_cold,
    false_drift,
    first_after,
    longest_run,
    rates,
)
from tests.bench.quality.truth import Lie, Truth, truth_of

__all__ = ["HERE", "AlarmScore", "MapScore", "Watch", "judge_alarms", "judge_maps", "score_alarms", "score_maps"]

Array = NDArray[np.float64]
HERE = "coldside"
FOUND_SECONDS = 1200.0
ACCUSED_MINUTES = 5


@dataclass(frozen=True, slots=True)
class Watch:
    """How one way of watching did on one night."""

    cold: tuple[Outcome, ...]
    false_cold: tuple[Standing, ...]
    drift: tuple[Outcome, ...]
    false_drift: tuple[Standing, ...]


@dataclass(frozen=True, slots=True)
class AlarmScore:
    """One night."""

    kind: str
    seed: int
    watch: dict[str, Watch]
    """Of the engine and of the fixed thresholds."""
    faults: tuple[Outcome, ...]
    accused: tuple[str, ...]
    """Good probes that were called liars or not used for more than five minutes."""
    unexplained: int
    """Minutes times probes left out without a word."""
    rates: Rates


def judge_alarms(kind: str, seed: int) -> AlarmScore:
    """Draw, run, play and judge a night."""
    night = recorded(NightKind(kind), seed)
    return score_alarms(kind, seed, night, truth_of(night), play(night, with_maps=False))


def score_alarms(kind: str, seed: int, night: Recorded, truth: Truth, played: Played) -> AlarmScore:
    """Judge what was made of a night."""
    means = minute_means(night)
    fixed = [*fixed_cold(night.night, means, truth.steady), *fixed_drift(night.night, means, truth.steady)]
    return AlarmScore(
        kind,
        seed,
        {HERE: _watch(night.night, truth, played.alarms), "fixed": _watch(night.night, truth, fixed)},
        tuple(Outcome(f"{lie.kind} {lie.key}", _found(night.night, lie, played)) for lie in truth.lies),
        _accused(night.night, truth, played),
        int(played.unexplained[played.seconds >= truth.steady].sum()),
        rates(played.alarms, night.night.duration_seconds),
    )


def _watch(night: Night, truth: Truth, alarms: Sequence[Standing]) -> Watch:
    names = [zone.name for zone in night.zones]
    column = {f"cold-spot/{name}": row for row, name in enumerate(names)}
    plan = plan_of(night)
    fire = truth.fire
    drift = () if fire is None else (Outcome(fire.what, _first_of_drift(alarms, fire.start)),)
    began = night.duration_seconds if truth.fire is None else truth.fire.start
    return Watch(
        tuple(
            cold_outcome(spell, names, _next_to(night.zones, spell.zone), alarms, truth.seconds, truth.deficit)
            for spell in truth.spells
        ),
        tuple(a for a in alarms if a.key in column and false_cold(a, truth.seconds, truth.deficit[:, column[a.key]])),
        drift,
        tuple(
            alarm
            for alarm in alarms
            if alarm.key.startswith("drift/")
            and alarm.raised < began
            and false_drift(alarm.raised, truth.seconds, truth.level, plan.low_celsius, plan.high_celsius)
        ),
    )


def _first_of_drift(alarms: Sequence[Standing], start: float) -> float | None:
    """Give how long after `start` a drift was first raised, either way."""
    keys = {alarm.key for alarm in alarms if alarm.key.startswith("drift/")}
    found = (first_after(alarms, key, start) for key in keys)
    return min((delay for delay in found if delay is not None), default=None)


def _next_to(zones: Sequence[Zone], row: int) -> list[int]:
    """Give the zones that share an edge with one."""
    own = zones[row]
    return [
        other for other, zone in enumerate(zones)
        if other != row and zone.x0_m <= own.x1_m and own.x0_m <= zone.x1_m
        and zone.y0_m <= own.y1_m and own.y0_m <= zone.y1_m
    ]  # fmt: skip


def _found(night: Night, lie: Lie, played: Played) -> float | None:
    """Give how long after it showed a lying probe was found: by an alarm, or by no longer being believed."""
    until = min(lie.end, lie.start + FOUND_SECONDS)
    keys = [lie.key]
    if lie.kind == FaultKind.SWAPPED:
        keys += [fault.other for fault in night.faults if fault.key == lie.key and fault.kind is FaultKind.SWAPPED]
    delays: list[float] = []
    for key in keys:
        named = (f"probe-lying/{key}", f"probe-silent/{key}")
        delays += [a.raised - lie.start for a in played.alarms if a.key in named and lie.begins <= a.raised <= until]
        row = next(row for row, probe in enumerate(night.probes) if probe.key == key)
        seen = played.doubted[:, row] & (played.seconds > lie.begins) & (played.seconds <= until)
        if lie.kind != FaultKind.SPIKE:
            seen &= played.unused[:, row]
        delays += (played.seconds[seen] - lie.start).tolist()[:1]
    return max(0.0, min(delays)) if delays else None


def _accused(night: Night, truth: Truth, played: Played) -> tuple[str, ...]:
    found = []
    for row, probe in enumerate(night.probes):
        if probe.key in truth.faulty or probe.duty != "chamber":
            continue
        left_out = played.unused[:, row] & (played.seconds >= truth.steady)
        called = any(alarm.key == f"probe-lying/{probe.key}" for alarm in played.alarms)
        if called or longest_run(left_out) > ACCUSED_MINUTES:
            found.append(probe.key)
    return tuple(found)


@dataclass(frozen=True, slots=True)
class MapScore:
    """How far one way of drawing was from the truth on one night; lists over the maps."""

    kind: str
    probes: int
    way: str
    square: tuple[float, ...]
    """Mean square over the cells."""
    worst_zone: tuple[float, ...]
    left_out_square: tuple[float, ...]
    covered: tuple[float, ...] = ()
    """Share of cells within the 95 % interval."""
    width: tuple[float, ...] = ()


def judge_maps(kind: str, seed: int, probes: int) -> list[MapScore]:
    """Draw, run, play and judge the maps of a night: the engine's and the simpler ones'."""
    night = recorded(NightKind(kind), seed, probes)
    return score_maps(kind, probes, night, truth_of(night), play(night, with_maps=True))


def score_maps(kind: str, probes: int, night: Recorded, truth: Truth, played: Played) -> list[MapScore]:
    """Judge the maps of a night, the engine's and the simpler ones'."""
    minute = {float(at): row for row, at in enumerate(truth.seconds.tolist())}
    true = dict(zip(night.truth.map_seconds.tolist(), night.truth.map_celsius, strict=True))
    looks = [
        look for look in played.maps
        if look.seconds in true and look.seconds >= truth.steady and not truth.masked[minute[look.seconds]]
    ]  # fmt: skip
    member = _zone_cells(night.night)
    pairs = [(look, true[look.seconds].ravel()) for look in looks]
    scores = [_score(kind, probes, HERE, [(look, look.mean, look.left_out, grid) for look, grid in pairs], member)]
    covered = [float((np.abs(look.mean - grid) <= 1.96 * look.sd).mean()) for look, grid in pairs]
    width = [float((2.0 * 1.96 * look.sd).mean()) for look, _ in pairs]
    scores[0] = MapScore(
        kind, probes, HERE, scores[0].square, scores[0].worst_zone, scores[0].left_out_square,
        tuple(covered), tuple(width),
    )  # fmt: skip
    xx, yy = _cells(night.night)
    for way, draw in MAPS.items():
        drawn = [
            (
                look, draw(look.x_m, look.y_m, look.celsius, xx, yy),
                left_out(draw, look.x_m, look.y_m, look.celsius), grid,
            )
            for look, grid in pairs
        ]  # fmt: skip
        scores.append(_score(kind, probes, way, drawn, member))
    return scores


def _cells(night: Night) -> tuple[Array, Array]:
    columns, rows = CELLS
    xx, yy = np.meshgrid(
        (np.arange(columns) + 0.5) / columns * night.pit.length_m, (np.arange(rows) + 0.5) / rows * night.pit.width_m
    )
    return xx.ravel(), yy.ravel()


def _zone_cells(night: Night) -> Array:
    """Give the weights of the cells in each zone's mean, shape (zones, cells)."""
    xx, yy = _cells(night)
    inside = np.array([
        (z.x0_m <= xx) & (xx <= z.x1_m) & (z.y0_m <= yy) & (yy <= z.y1_m) for z in night.zones
    ], dtype=np.float64)  # fmt: skip
    return np.asarray(inside / inside.sum(axis=1, keepdims=True))


def _score(
    kind: str, probes: int, way: str, drawn: Sequence[tuple[MapLook, Array, Array, Array]], member: Array
) -> MapScore:
    return MapScore(
        kind, probes, way,
        tuple(float(np.mean((mean - grid) ** 2)) for _, mean, _, grid in drawn),
        tuple(float(np.abs(member @ (mean - grid)).max()) for _, mean, _, grid in drawn),
        tuple(float(np.nanmean(out**2)) for _, _, out, _ in drawn if np.isfinite(out).any()),
    )  # fmt: skip
