"""A piece of meat as the cook describes it, in words: what is said of it, and what another description changes."""

import math
from datetime import UTC, datetime

from collector.model.meat.cooling import LIMITS
from collector.model.meat.piece import DAY_SECONDS, POUND_KG, Part, Piece
from tui.draw.clean import clean
from tui.draw.view import View
from tui.draw.words import clock, temperature

__all__ = ["changes", "described", "not_today"]

NAME_CELLS = 60


def described(piece: Piece, view: View, now_unix: float) -> dict[str, str]:
    """Say what is known of a piece: each thing by its name; what is not known is left out.

    Args:
        piece: as it is described.
        view: units and the zone of the clock.
        now_unix: the time; the clock of that day tells when it is served.
    """
    said = {"cut": str(piece.cut), "species": str(piece.species)}
    if piece.mass_kg is not None:
        said["mass"] = f"{piece.mass_kg / POUND_KG:.1f} lb" if view.fahrenheit else f"{piece.mass_kg:.1f} kg"
    if piece.intact is False:
        said["whole"] = "injected, bladed, tied open or ground"
    if piece.place is not None:
        x0, x1, y0, y1 = (_length(metres, view) for metres in piece.place)
        unit = "in" if view.fahrenheit else "cm"
        said["place"] = f"{x0}-{x1} {unit} from the fire end, {y0}-{y1} {unit} from the back"
    for part in piece.parts:
        said[f"part {clean(part.name, NAME_CELLS)}"] = _part(part, view)
    said["hold"] = temperature(piece.hold_celsius, view)
    said["rest"] = f"{piece.rest_seconds / 60.0:.0f} min"
    if piece.serve_day_seconds is not None:
        said["serve"] = clock(piece.serve_unix(now_unix), view)
    said["cooling"] = LIMITS[piece.cooling].title
    return said


def changes(before: Piece, now: Piece, view: View, now_unix: float) -> tuple[list[str], list[str]]:
    """Say what another description changes (`mass 13.0 lb, was 12.0 lb`), and what it keeps."""
    old, new = described(before, view, now_unix), described(now, view, now_unix)
    changed = [
        f"{name} {words}" + (f", was {old[name]}" if name in old else "")
        for name, words in new.items()
        if old.get(name) != words
    ]
    changed += [f"no {name}, was {words}" for name, words in old.items() if name not in new]
    return changed, [f"{name} {words}" for name, words in new.items() if old.get(name) == words]


def not_today(piece: Piece, on_unix: float, now_unix: float, view: View) -> str:
    """Say why the time to serve is not today's; empty where it is, or where none was said.

    Args:
        piece: as it is described.
        on_unix: when it went on; NaN: it is not on.
        now_unix: the time.
        view: the zone of the clock.
    """
    began = now_unix if math.isnan(on_unix) else on_unix
    serve = piece.serve_unix(began)
    if math.isnan(serve) or _day(serve, view) == _day(now_unix, view) or _day(began, view) != _day(now_unix, view):
        return ""
    told = clock(serve, view)
    at = piece.serve_unix(serve - 1.5 * DAY_SECONDS, 0.0)
    if at <= now_unix:
        return f"{told} of today is past"
    return f"{told} of today would be less than 4 h after it {'goes' if math.isnan(on_unix) else 'went'} on"


def _day(unix: float, view: View) -> object:
    return datetime.fromtimestamp(unix, UTC).astimezone(view.zone).date()


def _part(part: Part, view: View) -> str:
    targets = (("wrap", part.wrap_at), ("done", part.done_at))
    said = [f"{word} {temperature(at, view)}" for word, at in targets if at is not None]
    return ", ".join([f"probe {clean(part.probe, NAME_CELLS)}", *(said or ["no target"])])


def _length(metres: float, view: View) -> str:
    return f"{metres / 0.0254:.0f}" if view.fahrenheit else f"{metres / 0.01:.0f}"
