"""The quantities of a report's document: numbers with a unit, null where they are not known. Pure."""

import math
from typing import Annotated

from msgspec import Meta

__all__ = [
    "Celsius", "Kelvin", "KelvinMinutes", "Kilograms", "Metres", "Seconds", "Share", "Unix", "UnixOrNone", "known",
]  # fmt: skip

Celsius = Annotated[float | None, Meta(description="degrees Celsius; null: not known")]
Kelvin = Annotated[float | None, Meta(description="a difference, kelvin; null: not known")]
KelvinMinutes = Annotated[float | None, Meta(description="degree-minutes, kelvin times minutes; null: not known")]
Kilograms = Annotated[float | None, Meta(description="kilograms; null: nobody noted it")]
Metres = Annotated[float | None, Meta(description="metres, along the pit from the fire end, across it from the back")]
Seconds = Annotated[float | None, Meta(description="seconds; null: not known, or it did not come to it")]
Share = Annotated[float | None, Meta(description="a share, 0 to 1; null: not known")]
Unix = Annotated[float, Meta(description="seconds since 1970-01-01 00:00 UTC")]
UnixOrNone = Annotated[float | None, Meta(description="seconds since 1970-01-01 00:00 UTC; null: it did not happen")]


def known(value: float | None, digits: int = 3) -> float | None:
    """Round a number for the document; None where it is NaN, infinite or None."""
    return None if value is None or not math.isfinite(value) else round(float(value), digits)
