"""What counts as right, late, missed and false: pure functions over arrays, times in seconds from the night's start.

Arrays of a night hold one value a minute. `masked` minutes are those in which the door stood open or just had; they
take the value of the last minute before.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from collector.model.alarm_measures import Rates, Standing, rates

__all__ = [
    "Outcome", "Rates", "Spell", "Standing", "cold_outcome", "cold_spells", "false_cold", "false_drift", "first_after",
    "held", "longest_run", "rates", "runs", "swing_removed",
]  # fmt: skip

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

COLD_KELVIN, COLD_PEAK_KELVIN, COLD_MINUTES = 8.3, 11.0, 20
HARMLESS_KELVIN = 5.6
NEAR_SECONDS = 1800.0
DRIFT_NEAR_SECONDS = 3600.0


@dataclass(frozen=True, slots=True)
class Spell:
    """A time in which a zone was truly cold."""

    zone: int
    start: float
    end: float
    peak_kelvin: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """Something that should have been told: how late it was, None when it never was."""

    what: str
    delay: float | None
    by_neighbour: float | None = None
    """How late a neighbouring zone's alarm was, where its own never came."""


def held(values: Array, masked: Flags) -> Array:
    """Replace masked values by the last one before, along the first axis; those at the beginning stay."""
    kept = np.where(masked, 0, np.arange(len(masked)))
    return np.asarray(values[np.maximum.accumulate(kept)])


def runs(flags: Flags) -> list[tuple[int, int]]:
    """Give where runs of true flags begin and end, the end not included."""
    padded = np.concatenate([[False], flags, [False]]).astype(np.int8)
    steps = np.diff(padded)
    return list(zip(np.flatnonzero(steps == 1).tolist(), np.flatnonzero(steps == -1).tolist(), strict=True))


def longest_run(flags: Flags) -> int:
    """Give the length of the longest run of true flags."""
    return max((end - start for start, end in runs(flags)), default=0)


def cold_spells(seconds: Array, deficit: Array, steady: float) -> list[Spell]:
    """Find when zones were truly cold: 8.3 K below the grate for 20 min on end and once more than 11 K.

    Args:
        seconds: shape (minutes,).
        deficit: of each zone, masked minutes held, shape (minutes, zones).
        steady: from when it counts.
    """
    spells = []
    for zone in range(deficit.shape[1]):
        for start, end in runs((deficit[:, zone] >= COLD_KELVIN) & (seconds >= steady)):
            peak = float(deficit[start:end, zone].max())
            if end - start >= COLD_MINUTES and peak > COLD_PEAK_KELVIN:
                spells.append(Spell(zone, float(seconds[start]), float(seconds[end - 1]), peak))
    return _joined(spells, seconds, deficit)


def _joined(spells: Sequence[Spell], seconds: Array, deficit: Array) -> list[Spell]:
    """Join spells of a zone between which it never came back to where it is harmless: one spot, told once."""
    joined: list[Spell] = []
    for spell in spells:
        last = joined[-1] if joined else None
        if last is not None and last.zone == spell.zone:
            between = (seconds >= last.end) & (seconds <= spell.start)
            if deficit[between, spell.zone].min() > HARMLESS_KELVIN:
                peak = max(last.peak_kelvin, spell.peak_kelvin)
                joined[-1] = Spell(spell.zone, last.start, spell.end, peak)
                continue
        joined.append(spell)
    return joined


def cold_outcome(
    spell: Spell, names: Sequence[str], near: Sequence[int], alarms: Sequence[Standing], seconds: Array, deficit: Array
) -> Outcome:
    """Judge whether a spell was told, and how late after it crossed 8.3 K.

    An alarm raised before that counts, at no delay, when the zone was already more than 5.6 K below.

    Args:
        spell: what was true.
        names: of all zones.
        near: indices of the zones next to it.
        alarms: of the whole night.
        seconds: shape (minutes,).
        deficit: as in `cold_spells`.
    """

    def told(zone: int) -> float | None:
        delays = []
        for alarm in alarms:
            if alarm.key != f"cold-spot/{names[zone]}" or alarm.raised > spell.end or alarm.cleared < spell.start:
                continue
            then = np.interp(alarm.raised, seconds, deficit[:, spell.zone])
            if alarm.raised >= spell.start or then > HARMLESS_KELVIN:
                delays.append(max(0.0, alarm.raised - spell.start))
        return min(delays, default=None)

    delay = told(spell.zone)
    others = [late for late in map(told, near) if late is not None]
    return Outcome(names[spell.zone], delay, min(others, default=None) if delay is None else None)


def false_cold(alarm: Standing, seconds: Array, deficit: Array) -> bool:
    """Tell whether a zone was never even 5.6 K below within half an hour of its alarm; deficit of shape (minutes,)."""
    around = np.abs(seconds - alarm.raised) <= NEAR_SECONDS
    return not bool((deficit[around] > HARMLESS_KELVIN).any())


def swing_removed(grate: Array, masked: Flags, period_seconds: float) -> Array:
    """Give the median of the true grate mean over two refuels, centred, masked minutes left out."""
    half = max(1, round(period_seconds / 60.0))
    shut = np.where(masked, np.nan, grate)
    out = np.empty_like(grate)
    for at in range(len(grate)):
        window = shut[max(0, at - half) : at + half + 1]
        known = window[np.isfinite(window)]
        out[at] = np.median(known) if len(known) else grate[at]
    return out


def false_drift(raised: float, seconds: Array, level: Array, low: float, high: float) -> bool:
    """Tell whether the fire was steady about a drift alarm.

    Steady is: `level` moved less than 5.6 K within an hour either side and stood inside the cook's band then.
    """
    around = np.abs(seconds - raised) <= DRIFT_NEAR_SECONDS
    then = float(np.interp(raised, seconds, level))
    return bool(np.ptp(level[around]) < HARMLESS_KELVIN and low <= then <= high)


def first_after(alarms: Sequence[Standing], key: str, start: float) -> float | None:
    """Give how long after `start` an alarm was first raised, None when it never was."""
    return min((a.raised - start for a in alarms if a.key == key and a.raised >= start), default=None)
