"""One Bluetooth device as a source: heard where it advertises, connected to where it must be."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from datetime import UTC, datetime
from random import Random
from time import monotonic, time

from bleak.backends.device import BLEDevice

from adapters.backoff import delay_seconds
from adapters.ble.advert import Advert
from adapters.ble.advertised import Advertised
from adapters.ble.channels import Channel, Labels, patience
from adapters.ble.freshness import Freshness
from adapters.ble.link import DeviceLink
from adapters.ble.mend import MENDS
from adapters.ble.options import DeviceOptions
from adapters.ble.radio import Radio
from adapters.ble.sighting import Sighting
from adapters.decode.value import Packet, Value
from adapters.errors import DecodeError, LinkError, LinkReason, SourceConfigError
from adapters.inbox import Inbox
from adapters.reading import Reading
from adapters.source import Link, LinkState, SourceCounts, Vitals

__all__ = ["BleSource"]

HEALTHY_SECONDS = 60.0
"""A connection that stood this long starts the backoff anew."""
FULL_PATIENCE_EVERY = 4
BATTERY_SECONDS = 7200.0
"""For how long a battery's level is believed without being heard again."""
GATHER_SECONDS = 0.02
"""How long a reading waits for others to be handed on with: nothing in a pit happens sooner."""
MAX_FRESHNESS = 64


class BleSource:
    """Readings from one device.

    Args:
        options: which device and how it is read.
        radio: the adapter it is heard through, shared with other sources.
        clock: tells Unix seconds UTC.
        random: for the jitter of retries.
        inbox_capacity: readings that may wait.
    """

    def __init__(
        self,
        options: DeviceOptions,
        radio: Radio,
        *,
        clock: Callable[[], float] = time,
        random: Random | None = None,
        inbox_capacity: int = 1024,
    ) -> None:
        self.name = options.name
        self.counts = SourceCounts()
        self._options = options
        self._radio = radio
        self._clock = clock
        self._random = random or Random()
        self._inbox = Inbox(inbox_capacity)
        self._wake = asyncio.Event()
        self._waking: asyncio.TimerHandle | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        """The loop it is iterated in; None while it is not."""
        self._advertised = Advertised(options)
        kind = options.described.layout.source if options.described is not None else ""
        self._connects = kind in ("notify", "read") or (not kind and options.read != "adverts")
        self._listens = kind in ("service_data", "manufacturer_data") or (not kind and options.read != "connection")
        self._fresh: dict[str, Freshness] = {}
        self._sighting = Sighting(options.match, options.quiet)
        self._seen = asyncio.Event()
        """The device was seen since the last attempt to connect."""
        self._heard_at = float("-inf")
        """When a payload was last taken, by a steady clock."""
        self._advertised_at = float("-inf")
        """When it was last advertised, readable or not."""
        self._labels: Labels = {}
        self._labels_of = ""
        """Address of the device they are of."""
        channels = options.described.channels if options.described is not None else ()
        self._advertised_first = next(iter(channels), "temperature")
        """What advertisements call the temperature that `first_key` stands for."""
        self._connected_first = self._advertised_first
        self._quiet = options.quiet
        """How long the device may say nothing, by how it is read."""
        self._failures = 0
        """Connections in a row that brought no temperature."""
        self._own_link = Link(LinkState.DOWN, LinkReason.NOT_STARTED)
        self._device_link: DeviceLink | None = None
        self._battery: float | None = None
        self._battery_at = float("-inf")

    @property
    def link(self) -> Link:
        """The link as it stands now: the radio's trouble first, then the device's."""
        if self._own_link.reason is LinkReason.NOT_STARTED:
            return self._own_link
        radio = self._radio.link
        # A scan that is stuck may leave a device that speaks; a radio that is gone leaves none.
        gone = radio.reason not in (LinkReason.STUCK, LinkReason.DEAF)
        if radio.state is LinkState.DOWN and (gone or self._quiet_for() >= self._quiet):
            detail = "; ".join(word for word in (radio.detail, self._mend(radio.reason)) if word)
            return Link(LinkState.DOWN, radio.reason, detail)
        if self._own_link.state is LinkState.UP and self._quiet_for() > self._quiet:
            reason = LinkReason.SILENT if self._sighting.linked else LinkReason.GONE
            return Link(LinkState.DOWN, reason, self._mend(reason))
        return self._own_link

    @property
    def vitals(self) -> Vitals | None:
        """Signal, battery and packet rate; None before anything was heard."""
        now, sighting = monotonic(), self._sighting
        battery = self._battery if now - self._battery_at < BATTERY_SECONDS else None
        signal = sighting.signal(now)
        if signal is None and battery is None and not sighting.heard_any:
            return None
        return Vitals(signal, battery, sighting.packets_per_minute(now))

    def restore(self, receipts: list[int]) -> None:
        """Take note of receipts: a radio sends nothing again."""

    def committed(self, receipt: int) -> None:
        """Take note of a commit: no radio waits for it."""

    async def __aiter__(self) -> AsyncIterator[Reading]:
        """Listen, connect where need be, and yield readings; goes on for ever, its own troubles show in `link`.

        Raises:
            LinkError: never by the radio's fault.
        """
        self._own_link = Link(LinkState.CONNECTING, LinkReason.NOT_HEARD, self._mend(LinkReason.NOT_HEARD))
        linker: asyncio.Task[None] | None = None
        self._loop = asyncio.get_running_loop()
        try:
            async with self._radio.attached(self):
                if self._connects:
                    linker = asyncio.create_task(self._keep_link(), name=f"link to {self.name}")
                    linker.add_done_callback(lambda _: self._wake.set())
                while True:
                    reading = self._inbox.get()
                    if reading is not None:
                        self.counts.yielded += 1
                        yield reading
                        continue
                    if linker is not None and linker.done():
                        linker.result()
                    await self._wake.wait()
                    self._wake.clear()
        finally:
            if linker is not None:
                linker.cancel()
                await asyncio.gather(linker, return_exceptions=True)
            if self._waking is not None:
                self._waking.cancel()
            self._waking = self._loop = None
            self._own_link = Link(LinkState.DOWN, LinkReason.NOT_STARTED)

    def _quiet_for(self) -> float:
        return monotonic() - self._heard_at

    def _mend(self, reason: LinkReason | None) -> str:
        return MENDS.get(reason, "") if reason is not None else ""

    def radio_changed(self) -> None:
        """Take note that the radio's link changed: after an upheaval a connection is dead, though nobody says so."""
        if self._device_link is not None:
            self._device_link.radio_changed()

    def hear(self, advert: Advert, device: BLEDevice) -> None:
        """Take an advertisement."""
        now = monotonic()
        if not self._sighting.is_ours(advert, device, now):
            return
        self._seen.set()
        if self._listens and advert.rssi is not None:
            self._hear_payload(advert, now)

    def _hear_payload(self, advert: Advert, now: float) -> None:
        payload = self._advertised.payload(advert)
        if payload is None:
            return
        self._advertised_at = now
        if not self._advertised.fits(payload):
            self.counts.skipped += 1
            return
        fresh = self._freshness(advert.address)
        self._sighting.packet(now)
        if fresh.seen(payload, now):
            self._heard_at = now
            return
        try:
            packet = self._advertised.read(payload, advert)
            encrypted = self._advertised.encrypted(advert)
            new = fresh.is_new(payload, packet.counter, now, must_rise=encrypted)
        except (DecodeError, SourceConfigError) as error:
            self._undecodable(error)
            return
        self._heard_at = now
        if self._own_link.state is not LinkState.UP:
            self._own_link = Link(LinkState.UP)
        if new:
            self._put(packet, self._advertised_first)

    def _freshness(self, address: str) -> Freshness:
        fresh = self._fresh.get(address)
        if fresh is None:
            if len(self._fresh) >= MAX_FRESHNESS:
                self._fresh.clear()
            fresh = self._fresh[address] = Freshness()
        return fresh

    async def _keep_link(self) -> None:
        """Connect whenever the device is seen, for as long as the source runs."""
        attempt = 0
        while True:
            await self._until_wanted()
            began = monotonic()
            self._own_link = Link(LinkState.CONNECTING, self._own_link.reason, self._own_link.detail)
            if self._labels_of != self._sighting.address:
                self._labels, self._labels_of = {}, self._sighting.address
            link = DeviceLink(
                self._radio, self._options, self._labels,
                prepared=self._prepared, take=self._take, refused=self._show_trouble, waits=self._wait_for_slot,
            )  # fmt: skip
            self._device_link = link
            timing = self._options.timing
            try:
                assert self._sighting.device is not None
                # All of an adapter wait for one that does not answer, so it has its full patience only now and then.
                full = self._seen.is_set() and self._failures % FULL_PATIENCE_EVERY == 0
                await link.run(self._sighting.device, timing.connect if full else timing.unseen)
            except LinkError as error:
                self._show_trouble(error)
            finally:
                self._failures = 0 if self._heard_at >= began else self._failures + 1
                self._sighting.linked = False
                self._device_link = None
            self.counts.relinked += 1
            self._seen.clear()
            attempt = 0 if monotonic() - began > HEALTHY_SECONDS else attempt + 1
            await asyncio.sleep(delay_seconds(attempt, self._random, first=timing.first_retry, cap=timing.last_retry))

    async def _until_wanted(self) -> None:
        """Wait until the device is seen, and its advertisements alone will not do."""
        timing = self._options.timing
        while True:
            # A device that sends no data may be signalled once and never again, so one that is known is tried too.
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(timing.last_retry if self._sighting.device is not None else None):
                    await self._seen.wait()
            if self._options.read == "connection" or self._options.described is not None:
                return
            if monotonic() - self._advertised_at < self._quiet:
                pause = self._quiet  # it advertises its temperature, readable or not: no need of a link
            else:
                pause = self._sighting.first_seen + timing.decide - monotonic()
                if pause <= 0:
                    return
            await asyncio.sleep(pause)

    def _prepared(self, channels: list[Channel]) -> None:
        """Take note that the device is connected and has these channels; the link is up at its first word."""
        self._sighting.linked = True
        self._own_link = Link(LinkState.CONNECTING)
        self._quiet = patience(channels, self._options.quiet)
        self._connected_first = next((c.key for c in channels if c.key), self._advertised_first)

    def _show_trouble(self, error: LinkError) -> None:
        detail = "; ".join(word for word in (error.detail, self._mend(error.reason)) if word)
        self._own_link = Link(LinkState.DOWN, error.reason, detail)

    def _wait_for_slot(self) -> None:
        most = self._radio.options.slots
        detail = f"all {most} connections are in use; {self._mend(LinkReason.NO_SLOT)}"
        self._own_link = Link(LinkState.CONNECTING, LinkReason.NO_SLOT, detail)

    def _take(self, channel: Channel, payload: bytes) -> bool:
        """Take what a characteristic said; tell whether it was a temperature."""
        now = monotonic()
        self._sighting.packet(now)
        described = self._options.described
        if described is not None and not described.fits(payload):
            self.counts.skipped += 1
            return False  # another kind of packet on the same characteristic
        try:
            packet = channel.decode(payload)
        except DecodeError as error:
            self._undecodable(error)
            return False
        if channel.battery:
            self._put(packet, "")
            return False
        self._heard_at = now
        if self._own_link.state is not LinkState.UP:
            self._own_link = Link(LinkState.UP)
        fresh = self._freshness(self._sighting.address)
        if packet.counter is None or fresh.is_new(payload, packet.counter, now):
            self._put(packet, self._connected_first)
        return True

    def _undecodable(self, error: Exception) -> None:
        self.counts.heard += 1
        self.counts.undecodable += 1
        self.counts.last_error = str(error)
        if self._own_link.state is not LinkState.UP:
            self._own_link = Link(LinkState.DOWN, LinkReason.UNDECODED, self._mend(LinkReason.UNDECODED))

    def _put(self, packet: Packet, first: str) -> None:
        """Hand on the values of a packet; `first` is what it calls the device's first temperature."""
        if packet.battery_percent is not None:
            self._battery, self._battery_at = packet.battery_percent, monotonic()
        if packet.rejected:
            self.counts.undecodable += len(packet.rejected)
            self.counts.last_error = packet.rejected[-1]
        now = self._clock()
        measured = None if packet.measured is None else self._source_unix(packet.measured)
        for value in packet.values:
            self._inbox.put(self._reading(value, first, now, measured))
        self.counts.heard += len(packet.values)
        self.counts.dropped = self._inbox.dropped
        if packet.values:
            self._wake_soon()

    def _wake_soon(self) -> None:
        """Wake whoever iterates, once for all that comes within a moment: a wake-up costs more than a reading."""
        if self._loop is None or 2 * len(self._inbox) >= self._inbox.capacity:
            self._wake.set()
        elif self._waking is None:
            self._waking = self._loop.call_later(GATHER_SECONDS, self._wake_now)

    def _wake_now(self) -> None:
        self._waking = None
        self._wake.set()

    def _reading(self, value: Value, first: str, now: float, measured: float | None) -> Reading:
        key = value.key
        if key == first:
            key = self._options.first_key or key
        source_unix = value.source_unix if value.source_unix is not None else measured
        return Reading(self.name, key, value.celsius, now, source_unix, value.unit, value.quality, value.reason)

    def _source_unix(self, measured: datetime) -> float | None:
        """Give the time the device says it measured at, by what its clock means."""
        if self._options.clock == "ignore":
            return None
        try:
            if self._options.clock == "utc":
                return measured.replace(tzinfo=UTC).timestamp()
            # An hour that the clocks repeat has two meanings; the one nearer to now is meant.
            now = self._clock()
            both = [measured.replace(fold=fold).timestamp() for fold in (0, 1)]
            return min(both, key=lambda unix: abs(unix - now))
        except (OverflowError, ValueError, OSError):
            return None
