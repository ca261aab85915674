"""What has been heard in the air so far, by device and by the place its payloads stand in; bounded, and no clock."""

import statistics
from collections import deque

import msgspec

from adapters.ble.advert import Advert
from adapters.ble.log import PayloadSource

__all__ = ["Device", "Group", "Place", "Survey"]

MAX_DEVICES = 4096
"""The one not heard for longest goes first."""
MAX_GROUPS = 16
"""Places of one device; further ones are not looked at."""
MAX_HISTORY = 240
"""Payloads kept of one place; the oldest go first."""
MAX_KEPT = 65_536
"""Payloads kept of all devices together; when they are that many, a place keeps its newest only."""
MAX_INTERVALS = 128
MAX_DIFFERENT = 1024
"""Payloads of one place that are told apart."""
MAX_SERVICES = 64
MAX_LENGTHS = 16
MAX_PAYLOAD_BYTES = 2048


class Place(msgspec.Struct, frozen=True):
    """Where in what a device says a payload stands."""

    source: PayloadSource
    uuid: str = ""
    """Full UUID of the service data or the characteristic."""
    company: int | None = None
    """Of the manufacturer data."""
    service: str = ""
    """Full UUID of the service of a characteristic."""


class Group(msgspec.Struct, frozen=True):
    """The payloads of one place."""

    place: Place
    heard: int
    different: int
    """How many different ones, at most 1,024."""
    lengths: tuple[int, ...]
    """Bytes, ascending."""
    last: bytes
    changed: tuple[int, ...]
    """Positions of `last` whose byte ever changed among payloads of its length."""
    history: tuple[tuple[float, bytes], ...]
    """When heard (Unix seconds UTC) and what, oldest first."""


class Device(msgspec.Struct, frozen=True):
    """One device as heard so far."""

    address: str
    random_address: bool
    name: str | None
    """As sent: hostile text, never printed as it is."""
    rssi_last: int | None
    """dBm; None for a device that was connected already and did not advertise."""
    rssi_min: int | None
    rssi_max: int | None
    heard: int
    """Advertisements."""
    interval_median: float | None
    """Seconds between advertisements; None before the second."""
    interval_longest: float | None
    first_unix: float
    last_unix: float
    services: tuple[str, ...]
    """Full UUIDs it advertises, without those of its service data."""
    groups: tuple[Group, ...]


class History:
    """The payloads of one place as they come in."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.kept: deque[tuple[float, bytes]] = deque(maxlen=MAX_HISTORY)
        self._heard = 0
        self._different: set[int] = set()
        """Hashes of the payloads so far: counting them is not worth keeping them."""
        self._first: dict[int, bytes] = {}
        self._changed: dict[int, set[int]] = {}

    def take(self, unix: float, payload: bytes, *, room: bool = True) -> bool:
        """Take a payload; return whether one more is kept than before."""
        payload = payload[:MAX_PAYLOAD_BYTES]
        self._heard += 1
        if len(self._different) < MAX_DIFFERENT:
            self._different.add(hash(payload))
        length = len(payload)
        if length in self._first or len(self._first) < MAX_LENGTHS:
            first = self._first.setdefault(length, payload)
            if first != payload:
                changed = self._changed.setdefault(length, set())
                changed.update(at for at, (a, b) in enumerate(zip(first, payload, strict=True)) if a != b)
        before = len(self.kept)
        if not room and self.kept:
            self.kept.popleft()
        self.kept.append((unix, payload))
        return len(self.kept) > before

    def group(self) -> Group:
        """Give what is known of the place; there must have been a payload."""
        last = self.kept[-1][1]
        return Group(
            self.place, self._heard, len(self._different), tuple(sorted(self._first)), last,
            tuple(sorted(self._changed.get(len(last), ()))), tuple(self.kept),
        )  # fmt: skip


class _Heard(msgspec.Struct):
    """One device while the scan runs."""

    advert: Advert
    name: str | None
    first_unix: float
    rssi_min: int | None = None
    rssi_max: int | None = None
    count: int = 0
    longest: float | None = None
    intervals: deque[float] = msgspec.field(default_factory=lambda: deque(maxlen=MAX_INTERVALS))
    services: dict[str, None] = msgspec.field(default_factory=dict)
    places: dict[Place, History] = msgspec.field(default_factory=dict)


class Survey:
    """Takes advertisements and tells what they amount to."""

    def __init__(self) -> None:
        self._devices: dict[str, _Heard] = {}
        self._kept = 0
        self.adverts = 0
        self.forgotten = 0
        """Devices that had to make room for others."""

    def take(self, advert: Advert) -> None:
        """Take one advertisement."""
        self.adverts += 1
        heard = self._devices.pop(advert.address, None)
        if heard is None:
            if len(self._devices) >= MAX_DEVICES:
                self._forget_oldest()
            heard = _Heard(advert, advert.name, advert.received_unix)
        self._devices[advert.address] = heard
        _count(heard, advert)
        for place, payload in _payloads(advert):
            history = heard.places.get(place)
            if history is None:
                if len(heard.places) >= MAX_GROUPS:
                    continue
                history = heard.places[place] = History(place)
            self._kept += history.take(advert.received_unix, payload, room=self._kept < MAX_KEPT)

    def _forget_oldest(self) -> None:
        gone = self._devices.pop(next(iter(self._devices)))
        self._kept -= sum(len(history.kept) for history in gone.places.values())
        self.forgotten += 1

    def devices(self) -> tuple[Device, ...]:
        """Tell what was heard, strongest first; a device without a strength comes last."""
        made = [_device(address, heard) for address, heard in self._devices.items()]
        made.sort(key=lambda d: (-999 if d.rssi_last is None else d.rssi_last, d.address), reverse=True)
        return tuple(made)


def _count(heard: _Heard, advert: Advert) -> None:
    if heard.count:
        interval = max(0.0, advert.received_unix - heard.advert.received_unix)
        heard.intervals.append(interval)
        heard.longest = interval if heard.longest is None else max(heard.longest, interval)
    heard.count += 1
    heard.advert = advert
    heard.name = advert.name or heard.name
    if advert.rssi is not None:
        heard.rssi_min = advert.rssi if heard.rssi_min is None else min(heard.rssi_min, advert.rssi)
        heard.rssi_max = advert.rssi if heard.rssi_max is None else max(heard.rssi_max, advert.rssi)
    for uuid in advert.services:
        if len(heard.services) < MAX_SERVICES:
            heard.services.setdefault(uuid)


def _payloads(advert: Advert) -> list[tuple[Place, bytes]]:
    found = [(Place("service_data", uuid=uuid), payload) for uuid, payload in advert.service_data.items()]
    found += [
        (Place("manufacturer_data", company=company), payload) for company, payload in advert.manufacturer_data.items()
    ]
    return found


def _device(address: str, heard: _Heard) -> Device:
    with_data = {place.uuid for place in heard.places}
    return Device(
        address=address,
        random_address=heard.advert.random_address,
        name=heard.name,
        rssi_last=heard.advert.rssi if heard.advert.rssi is not None else heard.rssi_max,
        rssi_min=heard.rssi_min,
        rssi_max=heard.rssi_max,
        heard=heard.count,
        interval_median=statistics.median(heard.intervals) if heard.intervals else None,
        interval_longest=heard.longest,
        first_unix=heard.first_unix,
        last_unix=heard.advert.received_unix,
        services=tuple(uuid for uuid in heard.services if uuid not in with_data),
        groups=tuple(history.group() for history in heard.places.values()),
    )
