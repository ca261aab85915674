"""What is known of one part of a piece since it went on."""

import math

import msgspec

from collector.model.field import Array

__all__ = ["Track"]


class Track(msgspec.Struct, frozen=True):
    """A part's curve, one row a minute."""

    seconds: Array
    """Since it went on, shape (n,)."""
    celsius: Array
    """At the probe's tip, shape (n,); NaN where not to be trusted."""
    air_celsius: Array
    """Of the air it lies in, shape (n,); NaN where unknown."""
    wrapped_seconds: float = math.nan
    """NaN: it is not wrapped."""
    cut: str = "brisket"
    """`brisket`, `pork shoulder`, `ribs` or `other`."""
    mass_kg: float = math.nan
    """NaN: unknown."""
