"""One adapter: one scan shared by all who listen through it, kept alive; and room for connections.

Whoever listens attaches a `Listener`. The scan begins with the first and ends with the last. It is started anew when
BlueZ came back, the adapter was switched on, the bus died, or nothing at all was heard for long.
"""

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Callable
from random import Random
from typing import Protocol

from bleak import BleakScanner
from bleak.args.bluez import BlueZScannerArgs
from bleak.assigned_numbers import AdvertisementDataType
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason, BleakDBusError, BleakError

from adapters.backoff import delay_seconds
from adapters.ble.advert import Advert
from adapters.ble.calls import words
from adapters.ble.options import RadioOptions, Timing
from adapters.ble.platform import BluezWatch, Known, advert_fields
from adapters.errors import LinkError, LinkReason
from adapters.source import Link, LinkState

__all__ = ["Listener", "Radio"]

_NOTHING = object()
"""Is no data of any device."""
MAX_DEVICES = 4096
"""Devices whose state is remembered; a street full of changing addresses must not fill the memory."""
DEAF_SCANS = 2
"""So many scans that heard nothing, one after another, are called deaf."""
SEEN_THROUGH_SECONDS = 1.0
"""So long a scan that is being started is waited for, when it is stopped."""
NO_SIGNAL = -127
"""What bleak gives where BlueZ has withdrawn the signal strength: the data beside it is old."""
_UNAVAILABLE = {
    BleakBluetoothNotAvailableReason.POWERED_OFF: LinkReason.POWERED_OFF,
    BleakBluetoothNotAvailableReason.NO_BLUETOOTH: LinkReason.NO_ADAPTER,
    BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE: LinkReason.NO_ADAPTER,
}

_REFUSALS = {
    "AccessDenied": LinkReason.BUS_REFUSED,
    "NotAuthorized": LinkReason.BUS_REFUSED,
    "ServiceUnknown": LinkReason.NO_BLUETOOTH,
    "NameHasNoOwner": LinkReason.NO_BLUETOOTH,
}
"""What an error of D-Bus or BlueZ means for a scan, by its last word; all others are an adapter that is stuck."""


class Listener(Protocol):
    """Who wants to hear advertisements. Neither method may raise or take long: they run within bleak's own handler."""

    def hear(self, advert: Advert, device: BLEDevice) -> None:
        """Take an advertisement."""

    def radio_changed(self) -> None:
        """Take note that the radio's link changed."""


class Radio:
    """One Bluetooth adapter.

    Args:
        options: which adapter, how it scans.
        timing: how patient to be.
        clock: tells Unix seconds UTC.
        random: for the jitter of retries.
    """

    def __init__(
        self,
        options: RadioOptions | None = None,
        timing: Timing | None = None,
        *,
        clock: Callable[[], float] = time.time,
        random: Random | None = None,
    ) -> None:
        self.options = options or RadioOptions()
        self.timing = timing or Timing()
        self.link = Link(LinkState.DOWN, LinkReason.NOT_STARTED)
        self.adapter = ""
        """Name of the adapter in use."""
        self.bus_deaths = 0
        """How often the system bus died: what was opened before must not be closed in an orderly way after."""
        self.upheavals = 0
        """How often BlueZ, the adapter or the bus went away: every connection made before is dead, told or not."""
        self.faults = 0
        """Errors of listeners, which must not reach bleak: it would lose the end of a connection over one."""
        self.restarts = 0
        """How often the scan was begun anew."""
        self.slots = asyncio.Semaphore(self.options.slots)
        self.connecting = asyncio.Lock()
        """One connection attempt at a time: BlueZ and many adapters fail at two."""
        self._clock = clock
        self._random = random or Random()
        self._listeners: list[Listener] = []
        self._changing = asyncio.Lock()
        """Held while the scan is begun or ended, so that one who comes does not meet the end of one who goes."""
        self._keeper: asyncio.Task[None] | None = None
        self._watch: BluezWatch | None = None
        self._scan = 0
        """Number of the scan; callbacks of an earlier one are not heard."""
        self._heard = asyncio.Event()
        self._data: dict[str, tuple[object, object]] = {}
        """By device, its service and manufacturer data as last passed on by bleak: the same object is old."""
        self._before: dict[str, Known] = {}
        """What BlueZ knew of devices when the scan began."""

    @contextlib.asynccontextmanager
    async def attached(self, listener: Listener) -> AsyncIterator[None]:
        """Let a listener hear everything, from the start of the scan for the first to its end for the last."""
        async with self._changing:
            self._listeners.append(listener)
            if self._keeper is None or self._keeper.done():
                self._keeper = asyncio.create_task(self._keep(), name=f"scan {self.options.adapter or 'Bluetooth'}")
        try:
            yield
        finally:
            self._listeners.remove(listener)
            async with self._changing:
                if not self._listeners and (keeper := self._keeper) is not None:
                    self._keeper = None
                    keeper.cancel()
                    await asyncio.gather(keeper, return_exceptions=True)

    async def bus_is_dead(self, deaths_before: int) -> bool:
        """Tell whether the bus died since; gives the news of it a moment to arrive."""
        if self.bus_deaths == deaths_before:
            await asyncio.sleep(0.05)
        return self.bus_deaths != deaths_before

    def _upset(self, bus_died: bool) -> None:
        """Take note that BlueZ, the adapter or the bus went: no connection made before is alive."""
        self.upheavals += 1
        self.bus_deaths += bus_died
        for listener in tuple(self._listeners):
            listener.radio_changed()

    def _show(self, state: LinkState, reason: LinkReason | None = None, detail: str = "") -> None:
        link = Link(state, reason, detail)
        if link != self.link:
            self.link = link
            for listener in tuple(self._listeners):
                listener.radio_changed()

    async def _keep(self) -> None:
        """Scan for as long as somebody listens."""
        attempt, patience, deaf = 0, self.timing.scan_quiet, 0
        try:
            while True:
                if deaf < DEAF_SCANS:
                    self._show(LinkState.CONNECTING)
                try:
                    heard = await self._scan_once(patience)
                    attempt = 0
                    patience = self.timing.scan_quiet if heard else self.timing.scan_quiet * 2
                    deaf = 0 if heard else deaf + 1
                    if deaf >= DEAF_SCANS:
                        self._show(LinkState.DOWN, LinkReason.DEAF)
                except LinkError as error:
                    self._show(LinkState.DOWN, error.reason, error.detail)
                    patience = self.timing.scan_quiet
                except Exception as error:  # noqa: BLE001 - a scan that ends for good would be a night of silence
                    self._show(LinkState.DOWN, LinkReason.FAULT, f"{type(error).__name__}: {error}")
                self.restarts += 1
                await self._rest(attempt)
                attempt += 1
        finally:
            await self._drop_watch()
            self._show(LinkState.DOWN, LinkReason.NOT_STARTED)

    async def _rest(self, attempt: int) -> None:
        """Wait before the next try, but no longer than until something stirs."""
        seconds = delay_seconds(attempt, self._random, first=self.timing.first_retry, cap=self.timing.last_retry)
        if self._watch is None or self._watch.bus_died:
            await asyncio.sleep(seconds)
            return
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._watch.disturbed.wait()
            await asyncio.sleep(self.timing.first_retry * 0.1)  # what stirs once often stirs again at once

    async def _scan_once(self, patience: float) -> bool:
        """Scan until something ends it; return whether anything was heard.

        Raises:
            LinkError: no scan could be started.
        """
        watch = await self._watched()
        self.adapter = await watch.adapter(self.options.adapter) if watch is not None else self.options.adapter
        self._scan += 1
        self._heard.clear()
        scanner = self._scanner(self._scan)
        try:
            if watch is not None:
                await self._look_around(watch)
            await self._start(scanner)
            if self.link.reason is not LinkReason.DEAF:
                self._show(LinkState.UP)
            self._greet_connected()
            return await self._until_ended(watch, patience)
        finally:
            self._scan += 1
            await self._stop(scanner, watch)

    async def _watched(self) -> BluezWatch | None:
        """Open the watch, or keep the one that is open; none where there is no BlueZ."""
        if self._watch is not None and self._watch.bus_died:
            await self._drop_watch()
        if self._watch is None and BluezWatch is not None:
            self._watch = await BluezWatch.open(self._upset)
        return self._watch

    async def _drop_watch(self) -> None:
        watch, self._watch = self._watch, None
        if watch is not None:
            await watch.close()

    def _scanner(self, number: int) -> BleakScanner:
        def hear(device: BLEDevice, data: AdvertisementData) -> None:
            if number == self._scan:
                self._hear(device, data)

        # Without these BlueZ passes on changes only, and of a device that sends no data only steps of 8 dB.
        bluez: BlueZScannerArgs = {"filters": {"DuplicateData": True, "RSSI": NO_SIGNAL}}
        if self.adapter:
            bluez["adapter"] = self.adapter
        if self.options.patterns:
            bluez["or_patterns"] = [(0, AdvertisementDataType(kind), begin) for kind, begin in self.options.patterns]
        return BleakScanner(hear, scanning_mode="passive" if self.options.patterns else "active", bluez=bluez)

    async def _start(self, scanner: BleakScanner) -> None:
        try:
            await self._begin(scanner)
        except BleakBluetoothNotAvailableError as error:
            raise LinkError(_UNAVAILABLE.get(error.reason, LinkReason.NO_BLUETOOTH), str(error)) from error
        except BleakDBusError as error:
            raise LinkError(
                _REFUSALS.get(error.dbus_error.rpartition(".")[2], LinkReason.STUCK), words(error)
            ) from error
        except BleakError as error:
            reason = LinkReason.NO_PASSIVE if "passive" in str(error) else LinkReason.STUCK
            raise LinkError(reason, str(error)) from error
        except (OSError, EOFError) as error:  # TimeoutError is an OSError
            raise LinkError(LinkReason.STUCK, str(error) or f"no answer in {self.timing.call:g} s") from error

    async def _begin(self, scanner: BleakScanner) -> None:
        """Start a scan; stopped meanwhile, see the call through: it would begin a scan that nobody ends.

        Raises:
            TimeoutError: there was no answer in time.
        """
        starting = asyncio.create_task(scanner.start(), name="start of the scan")
        try:
            done, _ = await asyncio.wait([starting], timeout=self.timing.call)
        except asyncio.CancelledError:
            done, _ = await asyncio.wait([starting], timeout=SEEN_THROUGH_SECONDS)
            if not done:
                starting.cancel()
            elif not starting.cancelled():
                starting.exception()
            raise
        if not done:
            starting.cancel()
            await asyncio.wait([starting])
            raise TimeoutError
        await starting

    async def _stop(self, scanner: BleakScanner, watch: BluezWatch | None) -> None:
        """Stop a scan, unless the bus it ran on is dead: its old file number may belong to another connection now."""
        if watch is not None and watch.bus_died:
            return
        # A scan that ended by itself (BlueZ gone, adapter off) cannot be stopped, and need not be.
        with contextlib.suppress(BleakError, OSError, EOFError, AssertionError):
            async with asyncio.timeout(self.timing.call):
                await scanner.stop()

    async def _look_around(self, watch: BluezWatch) -> None:
        """Learn what BlueZ knows already: data that may be left over from an earlier scan, and who is connected."""
        self._data.clear()
        known = await watch.devices(self.adapter)
        self._before = {one.address: one for one in known[:MAX_DEVICES]}

    def _greet_connected(self) -> None:
        """Tell of devices that are connected already, which therefore do not advertise."""
        for known in self._before.values():
            if known.connected:
                device = BLEDevice(known.address, known.name, {"path": known.path, "props": known.properties})
                self._tell(_last_advert(known, self._clock(), self.adapter), device)

    async def _until_ended(self, watch: BluezWatch | None, patience: float) -> bool:
        """Wait until the scan is disturbed, or nothing was heard for as long as patience lasts."""
        heard = False
        disturbed = asyncio.create_task(_disturbance(watch), name="disturbance of the scan")
        try:
            while True:
                self._heard.clear()
                ended, _ = await asyncio.wait([disturbed], timeout=patience)
                if ended or not self._heard.is_set():
                    return heard or self._heard.is_set()
                heard, patience = True, self.timing.scan_quiet
        finally:
            disturbed.cancel()

    def _hear(self, device: BLEDevice, data: AdvertisementData) -> None:
        """Take one call of bleak; nothing may escape from here."""
        try:
            fields = advert_fields(data.platform_data)
            random, service_data, manufacturer_data = False, data.service_data, data.manufacturer_data
            if fields is not None:
                random, connected, service_object, manufacturer_object = fields
                service_before, manufacturer_before = self._data_before(device.address, data)
                self._data[device.address] = service_object, manufacturer_object
                if connected:
                    return  # what is told of its advertisement is old
                if service_object is service_before:
                    service_data = {}
                if manufacturer_object is manufacturer_before:
                    manufacturer_data = {}
            if data.rssi == NO_SIGNAL:
                return
            if not self._heard.is_set():
                self._heard.set()
                self._show(LinkState.UP)
            advert = Advert(
                device.address, self._clock(), data.rssi, data.local_name, random, service_data, manufacturer_data,
                tuple(data.service_uuids), self.adapter,
            )  # fmt: skip
        except Exception:  # noqa: BLE001 - bleak would lose the end of a connection over it
            self.faults += 1
        else:
            self._tell(advert, device)

    def _data_before(self, address: str, data: AdvertisementData) -> tuple[object, object]:
        """Give the data of a device as they were in the call before this."""
        before = self._data.get(address)
        if before is not None:
            return before
        while len(self._data) >= MAX_DEVICES:
            del self._data[next(iter(self._data))]
        known = self._before.get(address)
        fields = advert_fields(data.platform_data)
        if known is None or fields is None:
            return _NOTHING, _NOTHING
        # BlueZ knew it before the scan began: what equals its data of then may be left over.
        _, _, service_object, manufacturer_object = fields
        return (
            service_object if known.service_data == data.service_data else _NOTHING,
            manufacturer_object if known.manufacturer_data == data.manufacturer_data else _NOTHING,
        )

    def _tell(self, advert: Advert, device: BLEDevice) -> None:
        for listener in tuple(self._listeners):
            try:
                listener.hear(advert, device)
            except Exception:  # noqa: BLE001 - nor may one listener's fault silence the others
                self.faults += 1


async def _disturbance(watch: BluezWatch | None) -> None:
    if watch is None:
        await asyncio.Event().wait()
    else:
        await watch.disturbed.wait()


def _last_advert(known: Known, now: float, adapter: str) -> Advert:
    """Make of a connected device what it last advertised, without a signal strength: to know it by, not to read."""
    get = known.properties.get
    return Advert(
        known.address, now, None, known.name, get("AddressType") == "random", known.service_data,
        known.manufacturer_data, tuple(get("UUIDs", ())), adapter,
    )  # fmt: skip
