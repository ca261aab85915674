"""How one person wants to see things: what every drawing function is told beside the data."""

from dataclasses import dataclass
from datetime import tzinfo

__all__ = ["View"]


@dataclass(frozen=True, slots=True)
class View:
    """Choices of display; they change no number inside."""

    fahrenheit: bool = False
    ascii_only: bool = False
    """Only characters every terminal and font has."""
    zone: tzinfo | None = None
    """Where clock times are told. None: the machine's own local time."""
    old: bool = False
    """What is shown is not what is: dim it, colour nothing."""
