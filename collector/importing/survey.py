"""A file looked through before anything of it is written: how much it holds, from when to when, whether it can be."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping

import msgspec

from adapters.reading import Reading, Unit
from collector.errors import IntakeError
from collector.importing.values import unit_in_doubt

__all__ = ["Survey", "in_order", "survey"]

Identity = tuple[str, str]
MOST_READINGS = 20_000_000
MOST_UNIX = 7_258_118_400.0
"""The year 2200."""


class Survey(msgspec.Struct, frozen=True):
    """What a file holds."""

    readings: int
    first_unix: float
    last_unix: float
    counts: Mapping[Identity, int]
    """Readings by source and key."""


def in_order(
    file: str, readings: Iterable[Reading], *, strict: bool, line: Callable[[], int] = lambda: 0
) -> Iterator[Reading]:
    """Pass readings on that stand in the order of time.

    Args:
        file: its name.
        readings: as they stand there.
        strict: a probe has one value at a time; else what came is what came.
        line: tells the line of the file that was read last.

    Raises:
        IntakeError: time goes back, or a probe has two values at one time.
    """
    last = -1e18
    lasts: dict[Identity, float] = {}
    for reading in readings:
        at, who = reading.received_unix, (reading.source, reading.key)
        if not 0.0 <= at <= MOST_UNIX:
            raise IntakeError(file, f"{reading.key}: a time lies beyond the years 1970 to 2200", line=line())
        if at < last:
            raise IntakeError(
                file,
                f"{reading.key}: time goes back by {last - at:.3f} s; --sort takes all by their times",
                line=line(),
            )
        if strict and lasts.get(who) == at:
            raise IntakeError(
                file, f"{reading.key} has a second value at one time; take one of the lines out", line=line()
            )
        last = lasts[who] = at
        yield reading


def survey(file: str, readings: Iterable[Reading], duties: Mapping[Identity, str], *, sure: bool) -> Survey:
    """Look through all readings.

    Args:
        file: its name.
        readings: in order.
        duties: of the probes, `grate`, `top`, `meat` and so on, as far as they are known.
        sure: the units are what they are said to be, whatever the values look like.

    Raises:
        IntakeError: there are none, or too many, or a probe's values do not look like their unit.
    """
    counts: Counter[Identity] = Counter()
    degrees: dict[Identity, Counter[int]] = {}
    units: dict[Identity, Unit] = {}
    first = last = None
    for reading in readings:
        who = reading.source, reading.key
        first = reading.received_unix if first is None else first
        last = reading.received_unix
        counts[who] += 1
        units[who] = reading.unit
        if abs(reading.celsius) < 1e6:
            degrees.setdefault(who, Counter())[round(reading.celsius)] += 1
        if len(counts) > 512:
            raise IntakeError(file, "more than 512 probes; is the column of the probes the right one?")
    if first is None or last is None:
        raise IntakeError(file, "there is no reading in it")
    total = sum(counts.values())
    if total > MOST_READINGS:
        raise IntakeError(file, f"{total:,} readings; at most {MOST_READINGS:,} are taken, import it in parts")
    if not sure:
        _make_sure_of_units(file, degrees, units, duties)
    return Survey(total, first, last, counts)


def _make_sure_of_units(
    file: str, degrees: Mapping[Identity, Counter[int]], units: Mapping[Identity, Unit], duties: Mapping[Identity, str]
) -> None:
    """Hold the values of all probes of one duty and unit against what such probes show."""
    groups: dict[tuple[str, Unit], list[tuple[float, str]]] = {}
    for who, found in degrees.items():
        groups.setdefault((duties.get(who, ""), units[who]), []).append((_upper(found), who[1]))
    for (duty, unit), told in groups.items():
        middle, key = sorted(told)[len(told) // 2]
        doubt = unit_in_doubt(unit, duty, middle)
        if doubt:
            raise IntakeError(file, f"{key}: {doubt}, or --sure if it is as it says")


def _upper(degrees: Counter[int]) -> float:
    """Give the temperature below which nine tenths lie."""
    left = 0.9 * sum(degrees.values())
    for value in sorted(degrees):
        left -= degrees[value]
        if left <= 0:
            return float(value)
    return float(max(degrees))
