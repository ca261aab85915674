"""What a decoder gives: values of probes, and the packet that held them."""

from datetime import datetime

import msgspec

from adapters.reading import Quality, Reason, Unit

__all__ = ["Packet", "Value"]


class Value(msgspec.Struct, frozen=True, gc=False):
    """One value of a payload."""

    key: str
    """What the payload, or the layout, calls the probe."""
    celsius: float
    """NaN when there is none."""
    unit: Unit
    """The unit it came in."""
    source_unix: float | None
    """When the probe says it measured, Unix seconds UTC. None when it did not say."""
    quality: Quality = Quality.GOOD
    reason: Reason = Reason.NONE


class Packet(msgspec.Struct, frozen=True, gc=False):
    """One advertisement, notification or read value, decoded."""

    values: tuple[Value, ...]
    battery_percent: float | None = None
    """None when the packet does not tell."""
    counter: int | None = None
    """The sender's own count: the same count is the same measurement. None when there is no counter."""
    measured: datetime | None = None
    """Date and time by the probe's own clock, without a zone. None when it did not say."""
    rejected: tuple[str, ...] = ()
    """Why a channel of an otherwise readable packet could not be read, in words."""
