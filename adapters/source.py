"""The contract of a source: an async iterator of readings that says how its link is doing.

One call of `async for` is one life of the link: it ends when the source has no more to say (a recording), and
raises `LinkError` when the way to it closes. Whoever iterates tries again (`collector.supervisor`); the object
outlives its links and keeps what must survive them.
"""

import enum
from collections.abc import AsyncIterator
from typing import Protocol, runtime_checkable

import msgspec

from adapters.errors import LinkReason
from adapters.reading import Reading

__all__ = ["Link", "LinkState", "Source", "SourceCounts", "Vitals"]


class LinkState(enum.StrEnum):
    """How a source stands."""

    DOWN = "down"
    CONNECTING = "connecting"
    UP = "up"
    ENDED = "ended"


class Link(msgspec.Struct, frozen=True):
    """State of the way to a source, and why."""

    state: LinkState
    reason: LinkReason | None = None
    """Why it is down. None while up or on the way up."""
    detail: str = ""
    """What the other side said, for the log and the screen."""


class SourceCounts(msgspec.Struct):
    """What a source has counted since it was made."""

    heard: int = 0
    """Readings that arrived (a payload that cannot be read counts as one)."""
    yielded: int = 0
    """Readings handed on."""
    dropped: int = 0
    """Readings given up because the queue was full, oldest first, never the newest of a probe."""
    undecodable: int = 0
    """Payloads that could not be read. Where the topic names the probe, a bad reading is yielded all the same."""
    repeated: int = 0
    """Readings sent again by a broker that had not seen our acknowledgement; already on record."""
    perhaps_twice: int = 0
    """Messages taken though they may be on record: sent again, or new ones of the same words and packet id."""
    skipped: int = 0
    """Packets of another kind than the layout describes: of another length, or of another type by its test."""
    relinked: int = 0
    """Connections that ended and were, or will be, tried again, where the source sees to that itself."""
    last_error: str = ""
    """The newest decoding error in words, empty when there was none."""


class Vitals(msgspec.Struct, frozen=True):
    """How well a device is heard and how long it will last."""

    rssi_dbm: int | None
    """Signal strength last heard. None when it is not known."""
    battery_percent: float | None
    """None when the device does not tell."""
    packets_per_minute: float
    """Packets heard, repetitions included, over the last minute."""


@runtime_checkable
class Source(Protocol):
    """Where readings come from."""

    name: str
    counts: SourceCounts

    @property
    def link(self) -> Link:
        """The link as it stands now."""

    @property
    def vitals(self) -> Vitals | None:
        """Signal, battery and packet rate; None for a source that has none, or has not heard its device yet."""

    def __aiter__(self) -> AsyncIterator[Reading]:
        """Open the link and yield readings until it closes.

        Raises:
            LinkError: the link could not be opened, or closed.
        """

    def committed(self, receipt: int) -> None:
        """Take note that the reading with this receipt, and all yielded before it, are safe on disk."""

    def restore(self, receipts: list[int]) -> None:
        """Take note, before the first link, of the receipts last committed, oldest first, by an earlier run."""
