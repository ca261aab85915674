"""Which of the devices in the air a source means, and how it is heard."""

from collections import deque

from bleak.backends.device import BLEDevice

from adapters.ble.advert import Advert
from adapters.ble.options import Match

__all__ = ["Sighting"]

RATE_SECONDS = 60.0
MAX_OTHERS = 64
MISSED_INTERVALS = 5.0
"""So many of its own intervals without a word, and a device with a changing address may have changed it."""
LEAST_MISSED_SECONDS = 3.0


class Sighting:
    """The one device a source has settled on, by the addresses, names and times of what is heard.

    Times are seconds of one steady clock.

    Args:
        match: which device is meant.
        quiet: after so long without a word another device that fits may take its place, seconds.
    """

    __slots__ = (
        "_arrivals", "_interval", "_match", "_name", "_others", "_quiet", "_rotates", "address", "device", "first_seen",
        "last_seen", "linked", "rssi",
    )  # fmt: skip

    def __init__(self, match: Match, quiet: float) -> None:
        self._match = match
        self._quiet = quiet
        self.address = ""
        self.device: BLEDevice | None = None
        self.first_seen = float("inf")
        self.last_seen = float("-inf")
        self.linked = False
        """A connection to it stands, so that it does not advertise: what fits now is another device."""
        self.rssi: int | None = None
        self._rotates = False
        self._others: set[str] = set()
        """Addresses of other devices that fit, heard while ours spoke: none of them is ours under a new address."""
        self._name: str | None = None
        self._interval: float | None = None
        """Its usual time between advertisements."""
        self._arrivals: deque[float] = deque(maxlen=256)

    def is_ours(self, advert: Advert, device: BLEDevice, now: float) -> bool:
        """Take an advertisement; tell whether it is of the device meant."""
        if advert.address != self.address and not self._settle(advert, now):
            return False
        gap = min(now - self.last_seen, self._quiet)
        self._interval = gap if self._interval is None else self._interval + 0.2 * (gap - self._interval)
        self.last_seen = now
        self.device = device
        self._name = advert.name or self._name
        if advert.rssi is not None:
            self.rssi = advert.rssi
        return True

    def _settle(self, advert: Advert, now: float) -> bool:
        """Settle on another device, unless the one we have still speaks."""
        if not self._match(advert):
            return False
        missed = now - self.last_seen
        if self.linked or (self.address and missed < self._quiet and not self._has_moved(advert, missed)):
            if len(self._others) < MAX_OTHERS:
                self._others.add(advert.address)
            return False
        self.address, self.first_seen, self.last_seen = advert.address, now, now
        self._rotates, self._name, self._interval = _rotates(advert), advert.name, None
        self._others.discard(advert.address)
        return True

    def _has_moved(self, advert: Advert, missed: float) -> bool:
        """Tell whether this is our device under its next address: of our name and new, while ours has fallen silent."""
        return (
            self._rotates
            and self._interval is not None
            and _rotates(advert)
            and bool(advert.name)
            and advert.name == self._name
            and advert.address not in self._others
            and missed > max(LEAST_MISSED_SECONDS, MISSED_INTERVALS * self._interval)
        )

    def packet(self, now: float) -> None:
        """Take note of a packet, advertised or over a connection."""
        self._arrivals.append(now)
        self.last_seen = now

    @property
    def heard_any(self) -> bool:
        """Whether there was any packet."""
        return bool(self._arrivals)

    def signal(self, now: float) -> int | None:
        """Give the signal strength, dBm; None when it was not measured lately, as over a connection."""
        return self.rssi if not self.linked and now - self.last_seen <= self._quiet else None

    def packets_per_minute(self, now: float) -> float:
        """Count the packets of the last minute."""
        lately = [at for at in self._arrivals if now - at <= RATE_SECONDS]
        if len(lately) == self._arrivals.maxlen and lately[-1] > lately[0]:
            return (len(lately) - 1) / (lately[-1] - lately[0]) * 60.0
        since = now - lately[0] if lately and len(lately) == len(self._arrivals) else RATE_SECONDS
        return len(lately) * RATE_SECONDS / max(since, RATE_SECONDS / 6)


def _rotates(advert: Advert) -> bool:
    """Tell whether an address may change by itself: random, but not static (Core, Vol 6, Part B, 1.3; from memory)."""
    return advert.random_address and advert.address[:1] not in "CDEFcdef"
