"""The fuel log of a cook: splits that the curves show, splits that he marked, and the rhythm they make. Pure."""

import re
from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from collector.model.meat.piece import POUND_KG
from collector.model.rhythm import JOIN_SECONDS
from collector.report.quantities import Kilograms, Seconds, Unix, known
from collector.snapshot import Mark, Verdict

__all__ = ["Fuel", "Refuel", "fuel_log"]

SEEN, MARKED = "seen-refuel", "split"
_MASS = re.compile(r"(\d+(?:[.,]\d+)?)\s*(kg|g|lbs?|pounds?)\b", re.IGNORECASE)


class Refuel(Struct, frozen=True):
    """One split or load of wood."""

    time_unix: Unix
    seen: bool
    """The curves show the fire pick up."""
    marked: bool
    """The cook marked it."""
    kg: Kilograms
    text: str


class Fuel(Struct, frozen=True):
    """The fuel log, and the habit in it.

    The interval is the time between two refuels. Not every split shows, so one that is two or three times the shorter
    usual ones (their lower quartile) is divided by that. Scatter: the middle half of the intervals lies between
    `interval_low_seconds` and `interval_high_seconds`.
    """

    refuels: tuple[Refuel, ...]
    deleted: int
    """Seen by the curves, and the cook said that it was none."""
    interval_seconds: Seconds
    interval_low_seconds: Seconds
    interval_high_seconds: Seconds
    longest_seconds: Seconds
    total_kg: Kilograms
    """Of the refuels whose mass the cook noted; never a guess."""


def fuel_log(marks: Sequence[Mark]) -> Fuel:
    """Put the splits that were seen and those that were marked together.

    A marked one is the nearest seen within `JOIN_SECONDS`, as the collector takes it.
    """
    seen = [m for m in marks if m.kind == SEEN and m.verdict is not Verdict.DELETED]
    left = list(seen)
    rows: list[Refuel] = []
    for mark in (m for m in marks if m.kind == MARKED):
        near = [s for s in left if abs(s.time_unix - mark.time_unix) <= JOIN_SECONDS]
        if near:
            left.remove(min(near, key=lambda s: abs(s.time_unix - mark.time_unix)))
        rows.append(Refuel(mark.time_unix, bool(near), True, mass_kg(mark.text), mark.text))
    rows += [Refuel(s.time_unix, True, s.verdict is Verdict.CONFIRMED, None, "") for s in left]
    rows.sort(key=lambda r: r.time_unix)
    gaps = np.diff(np.array([r.time_unix for r in rows], dtype=np.float64))
    gaps = gaps[gaps > 0.0]
    low = middle = high = longest = float("nan")
    if gaps.size:
        longest = float(gaps.max())
    if gaps.size >= 3:
        usual = float(np.quantile(gaps, 0.25))
        low, middle, high = np.quantile(gaps / np.maximum(np.round(gaps / usual), 1.0), (0.25, 0.5, 0.75)).tolist()
    noted = [r.kg for r in rows if r.kg is not None]
    return Fuel(
        tuple(rows), sum(1 for m in marks if m.kind == SEEN and m.verdict is Verdict.DELETED), known(middle, 0),
        known(low, 0), known(high, 0), known(longest, 0), known(sum(noted)) if noted else None,
    )  # fmt: skip


def mass_kg(text: str) -> float | None:
    """Read the mass out of a mark's words, kilograms; None where it names none."""
    found = _MASS.search(text)
    if found is None:
        return None
    value, unit = float(found[1].replace(",", ".")), found[2].lower()
    return round(value * (1.0 if unit == "kg" else 0.001 if unit == "g" else POUND_KG), 3)
