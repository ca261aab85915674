"""How one person wants to see things: what every drawing function is told beside the data."""

from datetime import tzinfo

import msgspec

__all__ = ["View"]


class View(msgspec.Struct, frozen=True):
    """Choices of display; they change no number inside."""

    fahrenheit: bool = False
    ascii_only: bool = False
    """Only characters every terminal and font has."""
    zone: tzinfo | None = None
    """Where clock times are told. None: the machine's own local time."""
    old: bool = False
    """What is shown is not what is: dim it, colour nothing."""
