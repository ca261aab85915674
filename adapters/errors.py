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
    TAKEN_OVER = "another client uses our client id"
    SILENT = "connected, but nothing is heard"
    ENDED = "the recording ended"
    UNREADABLE = "the recording cannot be read"
    FAULT = "a fault in the adapter"
    NO_BUS = "no system D-Bus to reach Bluetooth by"
    BUS_REFUSED = "the system D-Bus refuses us"
    NO_BLUETOOTH = "the Bluetooth service does not run"
    NO_ADAPTER = "no Bluetooth adapter"
    POWERED_OFF = "the Bluetooth adapter is off"
    BLOCKED = "the Bluetooth adapter is blocked"
    STUCK = "the Bluetooth adapter is stuck"
    DEAF = "the scan hears nothing at all, of any device"
    NOT_HEARD = "not heard yet"
    GONE = "not heard any more"
    UNDECODED = "heard, but what it sends cannot be read"
    NO_PASSIVE = "this system offers no passive scan"
    NO_SLOT = "the adapter holds as many connections as it can"
    DEVICE_REFUSED = "the device refuses"
    NO_TEMPERATURE = "connected, but the device offers no temperature we can read"


class LinkError(AdapterError):
    """The way to a source is closed."""

    def __init__(self, reason: LinkReason, detail: str = "") -> None:
        super().__init__(reason, detail)
        self.reason = reason
        self.detail = detail

    def __str__(self) -> str:
        return f"{self.reason}: {self.detail}" if self.detail else str(self.reason)
