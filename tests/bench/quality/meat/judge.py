"""Arrivals told at a half, three quarters and nine tenths of the time, beside straight lines, against what came."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from collector.model.meat.forecast import Forecaster
from collector.model.meat.signs import curve_by_minute
from collector.model.meat.track import Track
from tests.bench.quality.meat.pieces import DONE_CELSIUS, FAMILIES, cooked

__all__ = ["STAGES", "MeatScore", "judge_family"]

Array = NDArray[np.float64]
STAGES = {"half": 0.5, "three quarters": 0.75, "nine tenths": 0.9}
REPORT_SEED, TUNING_SEED = 60_000, 50_500
DRAWN_EACH = 8
"""Nights drawn for a piece that is wanted: many do not stall as briskets do."""
LONGEST_SECONDS = 30 * 3600.0
WAYS = {"straight, 1 h": 60, "straight, 2 h": 120}


@dataclass(frozen=True, slots=True)
class MeatScore:
    """What was told of one family at one stage."""

    family: str
    stage: str
    errors: dict[str, tuple[float, ...]]
    """Minutes off, of the forecast (`coldside`) and of straight lines."""
    covered: tuple[bool, ...]
    width: tuple[float, ...]
    """Minutes from low to high."""


def judge_family(family: str, count: int, *, tuning: bool) -> list[MeatScore]:
    """Cook at most so many pieces of a family and judge what was told of them.

    Raises:
        ValueError: there is no such family.
    """
    if family not in FAMILIES:
        raise ValueError(f"no family of meat {family}; there are {', '.join(FAMILIES)}")
    pieces = cooked(family, TUNING_SEED if tuning else REPORT_SEED, DRAWN_EACH * count + 8)
    scores = []
    for stage, share in STAGES.items():
        errors: dict[str, list[float]] = {way: [] for way in ("coldside", *WAYS)}
        covered, width = [], []
        for piece in range(min(count, len(pieces))):
            came = 60.0 * float(pieces.done_minute[piece])
            minute = int(share * came / 60.0)
            track = pieces.track(piece, minute)
            told = Forecaster().update(track, (DONE_CELSIUS,), pieces.said(piece, minute))[0]
            errors["coldside"].append(_minutes_off(told.median_seconds, came))
            for way, rows in WAYS.items():
                errors[way].append(_minutes_off(straight(track, DONE_CELSIUS, rows), came))
            covered.append(bool(told.low_seconds <= came <= told.high_seconds))
            finite = np.isfinite(told.high_seconds)
            width.append((told.high_seconds - told.low_seconds) / 60.0 if finite else LONGEST_SECONDS / 60.0)
        scores.append(
            MeatScore(family, stage, {way: tuple(e) for way, e in errors.items()}, tuple(covered), tuple(width))
        )
    return scores


def straight(track: Track, target: float, rows: int) -> float:
    """Give when a line through the last so many minutes reaches a target, seconds; 30 h ahead where it hardly rises."""
    tip, _ = curve_by_minute(track)
    values = tip[-rows:]
    at = np.arange(values.size) - (values.size - 1)
    slope, end = (float(v) for v in np.polyfit(at, values, 1))
    ahead = 60.0 * (target - end) / slope if slope > 0.0 else LONGEST_SECONDS
    return float(track.seconds[-1]) + min(ahead, LONGEST_SECONDS)


def _minutes_off(told: float, came: float) -> float:
    """Give the error, minutes; a time that is not told counts as the longest night."""
    return abs(told - came) / 60.0 if np.isfinite(told) else LONGEST_SECONDS / 60.0
