"""What the cook types of a reading by hand, made a reading: a temperature, or how brown bread got."""

import re

from collector.model.meat.spots import Spot, spot_mistake
from collector.settings.quantity import parse_temperature
from collector.snapshot import Snapshot

__all__ = ["place_of", "read_spot", "usual_where"]

_BREAD = re.compile(r"bread\s*(\d+(?:\.\d+)?)", re.IGNORECASE)
_NUMBER = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*°?\s*([cfCF]?)")


def usual_where(snapshot: Snapshot) -> str:
    """Give where the next reading by hand is likeliest: where the newest was, else the first part of a piece."""
    if snapshot.spots:
        return snapshot.spots[-1].where
    named = ((piece.name, part.name) for piece in snapshot.meat for part in piece.parts)
    piece_name, name = next(named, ("", ""))
    return f"{piece_name} {name}" if len(_parts(name, snapshot)) > 1 else name


def read_spot(where: str, value: str, unit: str, snapshot: Snapshot | None) -> Spot:
    """Read what was typed.

    Args:
        where: as it was typed.
        value: `198`, `92 C` or `bread 3`.
        unit: of a number without one, `F` or `C`.
        snapshot: tells where a zone, a probe or a part lies.

    Raises:
        ValueError: it is no reading; says why.
    """
    x_m, y_m = (None, None) if snapshot is None else place_of(where, snapshot)
    if bread := _BREAD.fullmatch(value):
        spot = Spot("bread", where, float(bread[1]), x_m, y_m)
    else:
        typed = _NUMBER.fullmatch(value)
        said = f"{typed[1]} {typed[2].upper() or unit}" if typed else value
        spot = Spot("spot", where, parse_temperature(said), x_m, y_m)
    if why := spot_mistake(spot):
        raise ValueError(why)
    return spot


def place_of(where: str, snapshot: Snapshot) -> tuple[float | None, float | None]:
    """Find the place of a probe, of a part with a placed probe, or the middle of a zone of the grate; else none.

    A part is named alone, or after its piece (`brisket flat`); one of which there are several, alone, has no place.
    """
    named = where.casefold()
    parts = _parts(where, snapshot)
    for probe in snapshot.probes:
        if probe.x_m is None or probe.y_m is None:
            continue
        if named == probe.name.casefold() or parts == [probe.name]:
            return probe.x_m, probe.y_m
    grate = next(iter(snapshot.chamber.levels), "")
    for zone in snapshot.zones:
        if zone.level == grate and named == zone.name.casefold():
            return (zone.x0_m + zone.x1_m) / 2, (zone.y0_m + zone.y1_m) / 2
    return None, None


def _parts(where: str, snapshot: Snapshot) -> list[str]:
    """Give the probes of all parts that these words may name, of pieces that are not off."""
    named = where.casefold()
    return [
        part.probe for piece in snapshot.meat if piece.phase != "off" for part in piece.parts
        if named in (part.name.casefold(), f"{piece.name} {part.name}".casefold())
    ]  # fmt: skip
