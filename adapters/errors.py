"""What can go wrong between a probe and a `Reading`.

AdapterError
├── DecodeError        these bytes do not say what they should (what was found, what was allowed)
├── SourceConfigError  a source was described in a way that cannot work
└── LinkError          the way to a source is closed: carries a `LinkReason`
"""

import enum

__all__ = ["AdapterError", "DecodeError", "LinkError", "LinkReason", "SourceConfigError"]


class AdapterError(Exception):
    """Base of everything this package raises on purpose."""


class DecodeError(AdapterError):
    """Bytes that cannot be read as described."""


class SourceConfigError(AdapterError):
    """A source described in a way that cannot work."""


class LinkReason(enum.StrEnum):
    """Why a link is down, in words a cook reads."""

    NOT_STARTED = "not started"
    UNREACHABLE = "nobody answers at that address"
    REFUSED = "the broker refused us"
    BAD_CREDENTIALS = "user name or password is wrong"
    TLS = "the TLS handshake failed"
    LOST = "the connection was lost"
    SILENT = "connected, but nothing is heard"
    ENDED = "the recording ended"
    UNREADABLE = "the recording cannot be read"
    FAULT = "a fault in the adapter"


class LinkError(AdapterError):
    """The way to a source is closed."""

    def __init__(self, reason: LinkReason, detail: str = "") -> None:
        super().__init__(reason, detail)
        self.reason = reason
        self.detail = detail

    def __str__(self) -> str:
        return f"{self.reason}: {self.detail}" if self.detail else str(self.reason)
