"""Which of the devices in the air a source means, and how it is heard."""

from collections import deque

from bleak.backends.device import BLEDevice

from adapters.ble.advert import Advert
from adapters.ble.options import Match

__all__ = ["Sighting"]

RATE_SECONDS = 60.0
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
        "_arrivals", "_interval", "_match", "_name", "_quiet", "_random", "address", "device", "first_seen",
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
        self._random = False
        self._name: str | None = None
        self._interval = float("inf")
        """Its usual time between advertisements."""
        self._arrivals: deque[float] = deque(maxlen=256)

    def is_ours(self, advert: Advert, device: BLEDevice, now: float) -> bool:
        """Take an advertisement; tell whether it is of the device meant."""
        if advert.address != self.address and not self._settle(advert, now):
            return False
        gap = now - self.last_seen
        self._interval = (
            gap if gap < self._interval else self._interval + 0.1 * (min(gap, self._quiet) - self._interval)
        )
        self.last_seen = now
        self.device = device
        self._name = advert.name or self._name
        if advert.rssi is not None:
            self.rssi = advert.rssi
        return True

    def _settle(self, advert: Advert, now: float) -> bool:
        """Settle on another device, unless the one we have still speaks."""
        if self.linked or not self._match(advert):
            return False
        missed = now - self.last_seen
        if self.address and missed < self._quiet:
            moved = self._random and advert.random_address and advert.name == self._name
            if not (moved and missed > max(LEAST_MISSED_SECONDS, MISSED_INTERVALS * self._interval)):
                return False
        self.address, self.first_seen, self.last_seen = advert.address, now, now
        self._random, self._name, self._interval = advert.random_address, advert.name, float("inf")
        return True

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
        return float(len(lately))
