"""Times ahead of a piece of meat in words: when it arrives, within what, or why that cannot be known.

What is not known, or cannot be a time or a temperature of a pit, is never written as a number.
"""

import math
from datetime import UTC, datetime

from collector.snapshot import ArrivalView, PartView
from tui.draw.clean import clean
from tui.draw.view import View
from tui.draw.words import NOTHING, age, clock, number

__all__ = [
    "arrival_words",
    "believable",
    "day_and_time",
    "held",
    "is_time",
    "part_arrival",
    "part_value",
    "rough",
    "when",
]

LAST_UNIX = 32_503_680_000.0
"""The year 3000: what lies behind it is a fault, and no calendar of ours tells it."""
MOST_DEGREES = 5000.0
NEXT_DAY_SECONDS = 20 * 3600.0
"""From so far off on, a time of day alone could be taken for today's."""


def believable(value: float) -> float:
    """Give a temperature, difference or slope as it is; NaN where no pit has such a one."""
    return value if abs(value) <= MOST_DEGREES else math.nan


def is_time(unix: float | None) -> bool:
    """Tell whether a clock can show it."""
    return unix is not None and 0.0 <= unix <= LAST_UNIX


def when(unix: float | None, now_unix: float, view: View) -> str:
    """Tell a time by the clock; with the day of the week where it is most of a day off."""
    if unix is None or not is_time(unix):
        return NOTHING
    told = clock(unix, view)
    if not abs(unix - now_unix) < NEXT_DAY_SECONDS:
        return f"{datetime.fromtimestamp(unix, UTC).astimezone(view.zone):%a} {told}"
    return told


def day_and_time(unix: float, now_unix: float, view: View) -> str:
    """Tell a time by the clock, and its day where that is not today's: `13:00`, `tomorrow 13:00`, `Sat 13:00`."""
    if not is_time(unix) or not is_time(now_unix):
        return NOTHING
    day, today = (datetime.fromtimestamp(at, UTC).astimezone(view.zone).date() for at in (unix, now_unix))
    if day == today:
        return clock(unix, view)
    return f"{'tomorrow' if (day - today).days == 1 else f'{day:%a}'} {clock(unix, view)}"


def rough(seconds: float) -> str:
    """Say how long, no more exactly than a forecast is: `40 min`, `2 h`, `2 1/2 h`."""
    if not math.isfinite(seconds) or abs(seconds) > LAST_UNIX:
        return NOTHING
    if abs(seconds) < 5400.0:
        return f"{max(5, round(abs(seconds) / 300.0) * 5)} min"
    whole, half = divmod(round(abs(seconds) / 1800.0), 2)
    return f"{whole} 1/2 h" if half else f"{whole} h"


def arrival_words(arrival: ArrivalView, now_unix: float, view: View) -> str:
    """Say when: the median by the clock, and within what eight of ten come; empty where it cannot be known.

    One that is not of now says how old it is.
    """
    if not is_time(arrival.median_unix):
        return ""
    told = when(arrival.median_unix, now_unix, view)
    low, high = (when(unix, now_unix, view) for unix in (arrival.low_unix, arrival.high_unix))
    old = f", {clean(arrival.why, 40, ascii_only=view.ascii_only)}" if arrival.why else ""
    if low == NOTHING:
        return f"{told}{old}"
    if high == NOTHING:
        return f"{told} ({low} or much later){old}"
    return f"{told} ({low}-{high}){old}"


def part_arrival(part: PartView, phase: str, now_unix: float, view: View) -> str:
    """Say when a part is done, that it is there, or in plain words why that cannot be told; empty where none asked."""
    if math.isnan(part.done_celsius):
        return ""
    if believable(part.celsius) >= part.done_celsius:
        return "at its target"
    told = arrival_words(part.done, now_unix, view)
    if told:
        return f"done {told}"
    if phase not in ("cooking", "wrapped"):
        return ""
    why = clean(part.done.why, 200, ascii_only=view.ascii_only) or "it cannot be known yet"
    word = "not at this air" if math.isinf(part.done.median_unix) else "time not known"
    return f"{word}: {why}"


def part_value(celsius: float, target_celsius: float, view: View) -> str:
    """Write a value and, where there is one, its target: `165/203`."""
    target = believable(target_celsius)
    return number(believable(celsius), view) + ("" if math.isnan(target) else f"/{number(target, view)}")


def held(seconds: float) -> str:
    """Say how long a clock has run; nothing that is no time."""
    return age(seconds) if 0.0 <= seconds <= LAST_UNIX else NOTHING
