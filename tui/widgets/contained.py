"""Contains a fault in the drawing of one panel: it says that it is not available, and the others go on."""

from collections.abc import Callable
from typing import TypeVar

from collector.faults import place_of

__all__ = ["contained"]

T = TypeVar("T")


def contained(draw: Callable[[], T], otherwise: Callable[[str], T]) -> T:
    """Draw a part of the screen; where that raises, draw that it is not available.

    A dashboard keeps no log, so the words name the kind of the error and the line of code that raised it.

    Args:
        draw: draws the part.
        otherwise: draws the words it is given instead, and must not raise.
    """
    try:
        return draw()
    except Exception as error:  # noqa: BLE001 - the one place where any fault of a panel is contained
        return otherwise(f"not available: a fault of coldside's ({place_of(error)})")
