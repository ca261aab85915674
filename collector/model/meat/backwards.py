"""The plan back from when the meat is to be served: rest by, wrap by, on by, the fire by. Pure."""

import enum
import math

from collector.model.meat.piece import POUND_KG, Piece

__all__ = ["Lateness", "before_it_is_on", "late_before_it_is_on", "lateness", "while_it_cooks"]

HOURS_PER_POUND, USUAL_HOURS = 1.25, 13.0
"""An hour to an hour and a half a pound of brisket over a low fire (common practice, no source)."""
FEWEST_HOURS, MOST_HOURS = 6.0, 20.0
LIGHT_SECONDS = 3600.0
WRAP_SHARE = 0.6
"""Of the time to done when it is wrapped (common practice, no source)."""

IN_TIME_SECONDS = 300.0
"""So near to its time no forecast tells early from late."""


class Lateness(enum.StrEnum):
    """How a piece stands against the time to serve."""

    UNKNOWN = ""
    IN_HAND = "in hand"
    JUST = "just in time"
    LATE = "late"
    NEVER = "never"
    """Not at this air."""


def lateness(late_seconds: float) -> Lateness:
    """Judge how much too late a piece is expected, seconds; less than nothing: in hand; NaN: not known."""
    if math.isnan(late_seconds) or late_seconds == -math.inf:
        return Lateness.UNKNOWN
    if math.isinf(late_seconds):
        return Lateness.NEVER
    if late_seconds >= IN_TIME_SECONDS:
        return Lateness.LATE
    return Lateness.IN_HAND if late_seconds <= -IN_TIME_SECONDS else Lateness.JUST


Steps = tuple[tuple[str, float], ...]


def before_it_is_on(piece: Piece, now: float, *, lit: bool = False) -> Steps:
    """Plan by rule of thumb, before the meat has told anything: what by when, Unix seconds; nothing without a time.

    Args:
        piece: the piece.
        now: the time.
        lit: the pit is hot, so that no fire is to be lit.
    """
    hours = _hours(piece)
    serve = piece.serve_unix(now)
    if math.isnan(serve):
        return ()
    done = serve - piece.rest_seconds
    on = done - 3600.0 * hours
    wrap = on + WRAP_SHARE * 3600.0 * hours
    light = () if lit else (("light the fire", on - LIGHT_SECONDS),)
    return (*light, ("on", on), ("wrap", wrap), ("rest", done), ("serve", serve))


def late_before_it_is_on(piece: Piece, now: float) -> float:
    """Give how much too late it will be by rule of thumb if it goes on now, seconds; NaN without a time to serve."""
    return now + 3600.0 * _hours(piece) + piece.rest_seconds - piece.serve_unix(now)


def _hours(piece: Piece) -> float:
    """Give the hours from on to done, by rule of thumb."""
    if piece.mass_kg is None:
        return USUAL_HOURS
    return min(max(HOURS_PER_POUND * piece.mass_kg / POUND_KG, FEWEST_HOURS), MOST_HOURS)


def while_it_cooks(piece: Piece, on_unix: float, wrapping_seconds: float) -> Steps:
    """Plan by the forecast.

    Args:
        piece: the piece.
        on_unix: when it went on.
        wrapping_seconds: from its wrap temperature to done, as it is expected; NaN: not known, or wrapped already.
    """
    serve = piece.serve_unix(on_unix)
    if math.isnan(serve):
        return ()
    done = serve - piece.rest_seconds
    wrap = (("wrap", done - wrapping_seconds),) if math.isfinite(wrapping_seconds) else ()
    return (*wrap, ("rest", done), ("serve", serve))
