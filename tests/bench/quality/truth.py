"""What should have been told of a recorded night: cold spells, a failing fire, probes that lie."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.drawn import steady_seconds
from adapters.rehearsal.night import FaultKind, Night, ProbeFault
from tests.bench.quality.recorded import Recorded
from tests.bench.quality.score import Spell, cold_spells, held, longest_run, runs, swing_removed

__all__ = ["FireTrouble", "Lie", "Truth", "truth_of"]

Array = NDArray[np.float64]
RECOVERY_SECONDS = 600.0
DRIFTED_KELVIN = 8.3
"""A fire has failed when its level, swing removed, came this far from its median until then."""
LYING_KELVIN, LYING_MINUTES = 5.0, 20
WET_BULB_CELSIUS, WET_SHARE = 68.0, 0.92
BY_THEMSELVES = (FaultKind.SPIKE, FaultKind.OPEN, FaultKind.SHORT, FaultKind.SILENT)


@dataclass(frozen=True, slots=True)
class FireTrouble:
    """A fire that fails: from when (the first split not laid, the first wet one, the first heap) and how."""

    what: str
    start: float


@dataclass(frozen=True, slots=True)
class Lie:
    """A fault that should be found: from when its error is past 5 K, or at once where it needs none."""

    key: str
    kind: str
    begins: float
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Truth:
    """Arrays hold a value a minute."""

    seconds: Array
    steady: float
    masked: NDArray[np.bool_]
    """The door is open or was within ten minutes."""
    deficit: Array
    """Each zone below the grate's mean, masked minutes held, kelvin, shape (minutes, zones)."""
    level: Array
    """The grate, refuel swing removed."""
    spells: tuple[Spell, ...]
    fire: FireTrouble | None
    lies: tuple[Lie, ...]
    faulty: tuple[str, ...]


def truth_of(recorded: Recorded) -> Truth:
    """Work out what should have been told."""
    night, run = recorded.night, recorded.truth
    seconds, steady = run.seconds, steady_seconds(night, run)
    masked = np.zeros(len(seconds), dtype=np.bool_)
    for lid in night.lids:
        masked |= (seconds >= lid.start) & (seconds < lid.start + lid.seconds + RECOVERY_SECONDS)
    deficit = held(run.grate_celsius[:, None] - run.zone_celsius, masked)
    level = swing_removed(run.grate_celsius, masked, night.habit.period_seconds)
    return Truth(
        seconds, steady, masked, deficit, level,
        tuple(cold_spells(seconds, deficit, steady)),
        _fire_trouble(night, run.refuels, steady, seconds, level),
        tuple(lie for fault in night.faults if (lie := _lie(recorded, fault, masked)) is not None),
        tuple(key for fault in night.faults for key in (fault.key, fault.other) if key),
    )  # fmt: skip


def _fire_trouble(
    night: Night, refuels: tuple[tuple[float, float], ...], steady: float, seconds: Array, level: Array
) -> FireTrouble | None:
    """Find from when the fire fails; None where it does not come to much."""
    start, what = math.inf, ""
    for begins, ends in night.unattended:
        last = max((at for at, _ in refuels if at < begins), default=0.0)
        missed = max(begins, last + night.habit.period_seconds)
        if missed < min(ends, start):
            start, what = missed, "no split laid"
    for begins, ends in night.wet_fuel:
        first = next((at for at, _ in refuels if begins <= at < ends), math.inf)
        if first < start:
            start, what = first, "wet splits"
    for begins, ends, _ in night.heaped:
        first = next((at for at, _ in refuels if begins <= at < ends), math.inf)
        if first < start:
            start, what = first, "heaped up"
    if not start < night.duration_seconds:
        return None
    usual = level[(seconds >= steady) & (seconds < start)]
    before = float(np.median(usual)) if len(usual) else night.habit.target_celsius
    moved = np.abs(level[seconds >= start] - before).max(initial=0.0)
    return FireTrouble(what, start) if moved >= DRIFTED_KELVIN else None


def _lie(recorded: Recorded, fault: ProbeFault, masked: NDArray[np.bool_]) -> Lie | None:
    """Find from when a fault should be found; None where it never comes to much."""
    end = min(fault.end, recorded.night.duration_seconds)
    if fault.kind in BY_THEMSELVES:
        start = _first_spike(recorded, fault) if fault.kind is FaultKind.SPIKE else fault.start
        return Lie(fault.key, fault.kind, fault.start, start, end) if start < end else None
    seconds = recorded.truth.seconds
    wrong = held(np.abs(_error(recorded, fault)), masked) > LYING_KELVIN
    wrong &= (seconds >= fault.start) & (seconds < end)
    if longest_run(wrong) < LYING_MINUTES:
        return None
    start = next(float(seconds[first]) for first, last in runs(wrong) if last - first >= LYING_MINUTES)
    return Lie(fault.key, fault.kind, fault.start, start, end)


def _row(night: Night, key: str) -> int:
    return next(row for row, probe in enumerate(night.probes) if probe.key == key)


def _sent(recorded: Recorded, key: str, start: float, end: float) -> tuple[Array, Array]:
    of_probe = recorded.sent_probe == _row(recorded.night, key)
    kept = of_probe & (recorded.sent_seconds >= start) & (recorded.sent_seconds < end)
    return recorded.sent_seconds[kept], recorded.sent_celsius[kept]


def _first_spike(recorded: Recorded, fault: ProbeFault) -> float:
    """Give when the first wild value came: farther from the truth than half of what a spike is."""
    times, values = _sent(recorded, fault.key, fault.start, fault.end)
    true = np.interp(times, recorded.truth.seconds, recorded.truth.probe_celsius[:, _row(recorded.night, fault.key)])
    wild = np.flatnonzero(np.abs(values - true) > 0.5 * abs(fault.kelvin))
    return float(times[wild[0]]) if len(wild) else math.inf


def _error(recorded: Recorded, fault: ProbeFault) -> Array:
    """Give by how much a probe is wrong through its fault, kelvin, shape (minutes,)."""
    seconds, tips = recorded.truth.seconds, recorded.truth.probe_celsius
    true = tips[:, _row(recorded.night, fault.key)]
    match fault.kind:
        case FaultKind.DRIFT:
            walked = fault.kelvin_per_hour * np.maximum(0.0, seconds - fault.start) / 3600.0
            return np.minimum(np.abs(walked), abs(fault.kelvin))
        case FaultKind.SWAPPED:
            return np.asarray(tips[:, _row(recorded.night, fault.other)] - true)
        case FaultKind.WET:
            return np.asarray(WET_SHARE * np.maximum(0.0, true - WET_BULB_CELSIUS))
        case _:
            _, values = _sent(recorded, fault.key, fault.start, math.inf)
            return np.asarray(values[0] - true) if len(values) else np.zeros_like(true)
