"""How long the grate took to come back after each opening of the lid. Pure."""

import math
from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from collector.model.field import Array
from collector.report.quantities import Celsius, Kelvin, Seconds, Unix, UnixOrNone, known

__all__ = ["DEFINITION", "Opening", "recoveries", "usual_swing"]

BEFORE_SECONDS = 300.0
DEEPEST_WITHIN_SECONDS = 1800.0
LONGEST_SECONDS = 3 * 3600.0
SMOOTHED_SECONDS = 60.0
LEAST_SWING_KELVIN = 2.0
DEFINITION = (
    "Found: the median of the grate over the five minutes before the opening. Deepest: the least that its one-minute "
    "mean came to within half an hour of it. Back: the first time after that when the one-minute mean is again no "
    "further below what was found than half the grate's usual swing, which is the median, over half hours, of greatest "
    "less least; where it was found above the target, the target stands in its place. Recovery runs from the deepest "
    "point to there."
)


class Opening(Struct, frozen=True):
    """One opening of the lid."""

    time_unix: Unix
    seen: bool
    """The curves show it; else the cook marked it and the grate hardly felt it."""
    found_celsius: Celsius
    lost_kelvin: Kelvin
    """Found less deepest."""
    deepest_unix: UnixOrNone
    back_unix: UnixOrNone
    recovery_seconds: Seconds
    why: str
    """Why there is no recovery time; empty where there is one."""


def usual_swing(unix: Array, grate_celsius: Array) -> float:
    """Give the median swing of the grate over half hours, kelvin, at least 2; NaN where no half hour is known.

    Args:
        unix: times, shape (n,), seconds.
        grate_celsius: of the steady stretch, shape (n,), NaN elsewhere.
    """
    if not unix.size:
        return math.nan
    spans = ((unix - unix[0]) // 1800.0).astype(np.intp)
    swings = []
    for span in np.unique(spans):
        values = grate_celsius[(spans == span) & np.isfinite(grate_celsius)]
        if values.size >= 10:
            swings.append(float(np.ptp(values)))
    return max(LEAST_SWING_KELVIN, float(np.median(swings))) if swings else math.nan


def recoveries(
    unix: Array, grate_celsius: Array, openings: Sequence[tuple[float, bool]], swing_kelvin: float, end_unix: float,
    target_celsius: float = math.inf,
) -> tuple[Opening, ...]:  # fmt: skip
    """Work out the recovery after each opening, by `DEFINITION`.

    Args:
        unix: times of the trend, shape (n,), seconds.
        grate_celsius: mean of the grate, shape (n,).
        openings: when each began, oldest first, and whether the curves show it.
        swing_kelvin: the grate's usual swing.
        end_unix: where the record ends.
        target_celsius: what the pit is meant to run at: what an opening found above it is no loss.
    """
    found = []
    for k, (opened, seen) in enumerate(openings):
        following = openings[k + 1][0] if k + 1 < len(openings) else math.inf
        found.append(_one(unix, grate_celsius, opened, following, swing_kelvin, end_unix, target_celsius, seen=seen))
    return tuple(found)


def _one(
    unix: Array, grate: Array, opened: float, following: float, swing: float, end_unix: float, target: float, *,
    seen: bool,
) -> Opening:  # fmt: skip
    before = grate[(unix >= opened - BEFORE_SECONDS) & (unix < opened - 10.0)]
    before = before[np.isfinite(before)]
    if before.size < 3:
        return Opening(opened, seen, None, None, None, None, None, "the grate before it is not known")
    level = float(np.median(before))
    until = min(following, opened + LONGEST_SECONDS, end_unix)
    here = (unix >= opened) & (unix <= until)
    times, values = unix[here], grate[here]
    times, values = _smoothed(times[np.isfinite(values)], values[np.isfinite(values)])
    near = times <= opened + DEEPEST_WITHIN_SECONDS
    if near.sum() < 2:
        return Opening(opened, seen, known(level), None, None, None, None, "the grate after it is not known")
    deepest = int(np.argmin(values[near]))
    lost, at = level - float(values[deepest]), float(times[deepest])
    if math.isnan(swing):
        return Opening(opened, seen, known(level), known(lost), at, None, None, "there is no usual swing to go by")
    goal = min(level, target) - 0.5 * swing
    if level - lost >= goal:
        return Opening(opened, seen, known(level), known(lost), at, at, 0.0, "")
    back = np.flatnonzero(values[deepest:] >= goal)
    if back.size:
        when = float(times[deepest + int(back[0])])
        return Opening(opened, seen, known(level), known(lost), at, when, when - at, "")
    why = "opened again before it was back" if until == following else "not back within three hours"
    return Opening(
        opened, seen, known(level), known(lost), at, None, None, "the record ends first" if until == end_unix else why
    )


def _smoothed(times: Array, values: Array) -> tuple[Array, Array]:
    """Average over the minute up to each moment."""
    if times.size < 2:
        return times, values
    total = np.concatenate([[0.0], np.cumsum(values)])
    first = np.searchsorted(times, times - SMOOTHED_SECONDS, side="right")
    last = np.arange(times.size) + 1
    return times, (total[last] - total[first]) / (last - first)
