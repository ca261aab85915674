"""Whether a piece that is added to a running cook is described as it must be. Pure."""

import math
from collections.abc import Sequence

from collector.model.meat.piece import DAY_SECONDS, FOOD_CODE_HOLD_CELSIUS, Piece, Species
from collector.model.meat.safety import both_units, minimum_doubts

__all__ = ["MOST_PARTS", "MOST_PIECES", "TARGETS_CELSIUS", "piece_doubt", "piece_mistake"]

MOST_PIECES, MOST_PARTS = 16, 8
TARGETS_CELSIUS = (45.0, 105.0)
"""Meat is neither done below the first nor gets hotter than a little over the second inside."""
HOLD_CELSIUS = (0.0, 100.0)
MOST_KILOGRAMS = 100.0
NAME = 60


def piece_mistake(piece: Piece, probes: Sequence[str], others: Sequence[Piece]) -> str:
    """Say what is wrong with a piece; empty where nothing is.

    Args:
        piece: as it is described.
        probes: names of the meat probes.
        others: the other pieces of the cook.
    """
    taken = {part.probe: other.name for other in others for part in other.parts}
    names = [part.name for part in piece.parts]
    used = [part.probe for part in piece.parts]
    if not all(_named(name) for name in (piece.name, *names)):
        return f"a piece and its parts need names, of at most {NAME} characters that can be printed"
    if len(others) >= MOST_PIECES:
        return f"there are {len(others)} pieces already; a cook has at most {MOST_PIECES}"
    if not 1 <= len(piece.parts) <= MOST_PARTS or len(set(names)) < len(names) or len(set(used)) < len(used):
        return f"a piece has one to {MOST_PARTS} parts, each with a name and a probe of its own"
    for probe in used:
        if probe not in probes:
            return f"there is no meat probe {probe!r}; there is {', '.join(probes) or 'none'}"
        if probe in taken:
            return f"the probe {probe!r} is in {taken[probe]} already"
    return _number_mistake(piece)


def _number_mistake(piece: Piece) -> str:
    low, high = TARGETS_CELSIUS
    targets = [at for part in piece.parts for at in (part.wrap_at, part.done_at) if at is not None]
    if not all(low <= at <= high for at in targets):
        return "that is no temperature at which meat is wrapped or done; 113 F to 221 F (45 C to 105 C) is"
    if any(p.wrap_at is not None and p.done_at is not None and p.done_at <= p.wrap_at for p in piece.parts):
        return "it would be done before it is wrapped"
    if not HOLD_CELSIUS[0] <= piece.hold_celsius <= HOLD_CELSIUS[1]:
        return "that is no temperature to hold meat at"
    if not 0.0 <= piece.rest_seconds <= DAY_SECONDS or not 0.0 <= (piece.serve_day_seconds or 0.0) < DAY_SECONDS:
        return "rest and the time to serve lie within a day"
    at_unix, ahead_seconds = piece.clocks_change or (0.0, 0.0)
    if not (math.isfinite(at_unix) and abs(ahead_seconds) <= DAY_SECONDS):
        return "no clock is changed by more than a day"
    if piece.mass_kg is not None and not 0.0 < piece.mass_kg <= MOST_KILOGRAMS:
        return "that is no mass of a piece of meat"
    place = piece.place or (0.0, 1.0, 0.0, 1.0)
    if not (0.0 <= place[0] < place[1] <= 100.0 and 0.0 <= place[2] < place[3] <= 100.0):
        return "where it lies goes from less to more, in metres from the fire end and from the back"
    return ""


def piece_doubt(piece: Piece) -> str:
    """Say what is unwise about a piece; empty where nothing is."""
    doubts = minimum_doubts(piece)
    if piece.species is Species.UNKNOWN:
        doubts.append("say whose meat it is with its species; until then no table of lethality is counted for it")
    if piece.intact:
        doubts.append("a probe pierces it, so it is not intact: its safety clocks count all the same")
    if piece.hold_celsius < FOOD_CODE_HOLD_CELSIUS - 0.05:
        doubts.append(
            f"its floor is below the {both_units(FOOD_CODE_HOLD_CELSIUS)} of the FDA Food Code; your local code "
            "decides what may be colder"
        )
    return "; ".join(doubts)


def _named(name: str) -> bool:
    return 0 < len(name) <= NAME and name.isprintable()
