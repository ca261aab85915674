"""What a Bluetooth source is told: which device, how it is read, how patient to be."""

import fnmatch
from dataclasses import dataclass, field
from typing import Literal

import msgspec

from adapters.ble.advert import Advert
from adapters.decode.described import Described

__all__ = ["DeviceOptions", "Match", "RadioOptions", "Timing"]


class Timing(msgspec.Struct, frozen=True):
    """How long to wait for what, seconds."""

    call: float = 10.0
    """For a read, a write, a subscription, the start or stop of a scan."""
    connect: float = 25.0
    """For a connection with its services."""
    unseen: float = 5.0
    """For a connection to a device that was not seen since the last try: others wait meanwhile."""
    slot: float = 10.0
    """For room for a connection, before saying that there is none."""
    disconnect: float = 12.0
    """Longer than bleak's own ten."""
    scan_quiet: float = 90.0
    """A scan that hears nothing at all for this long is started anew; the next may take twice that."""
    first_retry: float = 1.0
    last_retry: float = 30.0
    decide: float = 6.0
    """How long a device is listened to before it is connected to, when its advertisements may do."""


class Match(msgspec.Struct, frozen=True):
    """Which device is meant: all that is given must hold."""

    address: str = ""
    """Six bytes with colons, or a UUID on macOS; lower case."""
    name: str = ""
    """With `*` and `?` for what varies."""
    service: str = ""
    """Full UUID that it advertises, as service or with data."""
    company: int | None = None
    """Of its manufacturer data."""

    def __call__(self, advert: Advert) -> bool:
        """Tell whether an advertisement is of this device."""
        if self.address and advert.address.lower() != self.address:
            return False
        if self.name and not (advert.name and fnmatch.fnmatchcase(advert.name.lower(), self.name.lower())):
            return False
        if self.service and self.service not in advert.services and self.service not in advert.service_data:
            return False
        return self.company is None or self.company in advert.manufacturer_data


class RadioOptions(msgspec.Struct, frozen=True):
    """One adapter."""

    adapter: str = ""
    """`hci0`; empty: the first that is on."""
    slots: int = 5
    """Connections it can hold: five on many, seven on some (seen in maintainers' threads)."""
    patterns: tuple[tuple[int, bytes], ...] = ()
    """For a passive scan: advertisement data type and the bytes it begins with. Empty: scan actively."""


@dataclass(frozen=True, slots=True)
class DeviceOptions:
    """One device and how it is read."""

    name: str
    """Of the source."""
    match: Match
    described: Described | None = None
    """The layout; None for a device that follows the standards."""
    read: Literal["auto", "adverts", "connection"] = "auto"
    bind_key: bytes | None = field(default=None, repr=False)
    """Of encrypted BTHome advertisements."""
    first_key: str = ""
    """The probe key for the first temperature; empty: as the device calls it."""
    clock: Literal["local", "utc", "ignore"] = "local"
    """What the date and time of a device mean, where it sends them."""
    quiet: float = 60.0
    """A link, or an advertiser, that says nothing for this long counts as lost, seconds."""
    acquire: bool = False
    """Take notifications by a socket of their own (AcquireNotify) rather than by signals."""
    timing: Timing = field(default_factory=Timing)
