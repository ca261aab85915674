"""Pieces of meat from the config, and what must hold of them."""

import datetime as dt
from collections.abc import Sequence

from collector.model.meat.cooling import CoolingRule
from collector.model.meat.described import TARGETS_CELSIUS, piece_doubt, piece_mistake
from collector.model.meat.piece import Cut, Part, Piece, Species, species_of
from collector.model.plan import Probe
from collector.settings.check import Mistake
from collector.settings.quantity import parse_mass, parse_temperature, parse_time_of_day
from collector.settings.shape import MeatTable, PartTable

__all__ = ["pieces_of", "time_to_serve"]

DAY_SECONDS = 86_400
CHANGE_WITHIN_DAYS = 240
"""Clocks are changed twice a year, and a config is read at every start."""


def pieces_of(
    tables: Sequence[MeatTable],
    probes: Sequence[Probe],
    chamber: tuple[float, float],
    metres: float,
    found: list[Mistake],
    warnings: list[str],
) -> tuple[Piece, ...]:
    """Make the pieces; they are of use only where nothing was found.

    Args:
        tables: as the config has them.
        probes: of the plan.
        chamber: its length and width, in the config's unit.
        metres: of that unit.
        found: gets the mistakes.
        warnings: gets a sentence for each thing that looks unwise.
    """  # fmt: skip
    pieces, taken, names = [], dict[str, str](), set[str]()
    for i, table in enumerate(tables):
        if table.name in names:
            found.append((("meat", i, "name"), "another piece is named so too"))
        names.add(table.name)
        for name, part in table.part.items():
            _check_part(("meat", i, "part", name), f"{table.name} {name}", part, table, probes, taken, found)
        _check_place(i, table, chamber, found)
        piece = _piece(table, metres)
        if doubt := piece_doubt(piece):
            warnings.append(f"meat {table.name}: {doubt}")
        told = any(where[:2] == ("meat", i) for where, _ in found)
        if not told and (why := piece_mistake(piece, [p.name for p in probes if p.duty == "meat"], ())):
            found.append((("meat", i), why))
        pieces.append(piece)
    return tuple(pieces)


def _check_part(
    where: tuple[str | int, ...], named: str, part: PartTable, table: MeatTable, probes: Sequence[Probe],
    taken: dict[str, str], found: list[Mistake],
) -> None:  # fmt: skip
    meat = [p.name for p in probes if p.duty == "meat"]
    if part.probe not in meat:
        there = ", ".join(meat) or "none yet"
        found.append(((*where, "probe"), f'there is no probe {part.probe!r} with duty = "meat"; there is {there}'))
    elif part.probe in taken:
        found.append(((*where, "probe"), f"is in the {taken[part.probe]} already"))
    taken.setdefault(part.probe, named)
    for key in ("wrap", "done"):
        text = getattr(part, key)
        at = where if text is not None else where[:2]
        text = text if text is not None else getattr(table, key)
        low, high = TARGETS_CELSIUS
        if text is not None and not low <= parse_temperature(text) <= high:
            what = f"{text!r} is no temperature at which meat is wrapped or done; 113 F to 221 F (45 C to 105 C) is"
            if ((*at, key), what) not in found:
                found.append(((*at, key), what))


def _check_place(i: int, table: MeatTable, chamber: tuple[float, float], found: list[Mistake]) -> None:
    if (table.x is None) is not (table.y is None):
        found.append((("meat", i, "y" if table.y is None else "x"), "is missing: x and y go together"))
    for axis, pair, most in (("x", table.x, chamber[0]), ("y", table.y, chamber[1])):
        if pair is not None and not 0.0 <= pair[0] < pair[1] <= most:
            what = f"goes from {pair[0]:g} to {pair[1]:g}; it must go from less to more, between 0 and {most:g}"
            found.append((("meat", i, axis), what))


def _piece(table: MeatTable, metres: float) -> Piece:
    cut = Cut(table.cut)
    species = Species(table.species) if table.species else species_of(cut)
    parts = []
    for name, part in table.part.items():
        wrap, done = part.wrap or table.wrap, part.done or table.done
        targets = (None if text is None else parse_temperature(text) for text in (wrap, done))
        parts.append(Part(name, part.probe, *targets))
    place = None
    if table.x is not None and table.y is not None:
        place = (table.x[0] * metres, table.x[1] * metres, table.y[0] * metres, table.y[1] * metres)
    serve, change = time_to_serve(parse_time_of_day(table.serve)) if table.serve else (None, None)
    return Piece(
        table.name, cut, tuple(parts), None if table.mass is None else parse_mass(table.mass),
        species, table.intact, place, parse_temperature(table.hold), table.rest * 60.0,
        serve, change, CoolingRule(table.cooling),
    )  # fmt: skip


def time_to_serve(minutes: int, now: dt.datetime | None = None) -> tuple[float, tuple[float, float] | None]:
    """Turn a local time of day into what a piece keeps of it.

    Args:
        minutes: after midnight, by the local clock.
        now: the time; None: the clock's.

    Returns:
        The second of the day in UTC that it is now; and when the clocks here are next changed, Unix seconds, with how
        many seconds they are put forward by, or None.
    """
    unix = (now or dt.datetime.now(dt.UTC)).timestamp()
    return (minutes * 60 - _ahead_seconds(unix)) % DAY_SECONDS, _clocks_change(unix)


def _ahead_seconds(unix: float) -> float:
    """Give how far the local clock is ahead of UTC at a time."""
    offset = dt.datetime.fromtimestamp(unix, dt.UTC).astimezone().utcoffset() or dt.timedelta()
    return offset.total_seconds()


def _clocks_change(unix: float) -> tuple[float, float] | None:
    """Find the next change of the local clock within so many days, to the second."""
    ahead = _ahead_seconds(unix)
    days = (unix + DAY_SECONDS * k for k in range(1, CHANGE_WITHIN_DAYS))
    high = next((day for day in days if _ahead_seconds(day) != ahead), None)
    if high is None:
        return None
    low, high = float(int(high - DAY_SECONDS)), float(int(high) + 1)
    while high - low > 1.0:
        middle = (low + high) // 2
        low, high = (middle, high) if _ahead_seconds(middle) == ahead else (low, middle)
    return high, _ahead_seconds(high) - ahead
