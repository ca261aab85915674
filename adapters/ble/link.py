"""One connection to one device: connect, find its temperatures, take them until the link ends.

Each connection has a client of its own, made from the device as the scan last saw it, and subscribes anew: neither
subscriptions nor characteristics outlive a link. Every call has a time-out, and a link that says nothing is ended.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable

import msgspec
from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.device import BLEDevice

from adapters.ble.calls import BROKEN, Calls, words
from adapters.ble.channels import Channel, Labels, described_channels, patience, standard_channels
from adapters.ble.options import DeviceOptions
from adapters.ble.radio import Radio
from adapters.errors import LinkError, LinkReason

__all__ = ["DeviceLink", "connected"]

TWICE_SECONDS = 0.05
"""The same bytes again within this time are one notification heard twice (seen in maintainers' threads)."""


DEAD_SECONDS = 0.5
"""How long to wait for the end of a connection that cannot be alive any more."""


class _Last(msgspec.Struct):
    """The payload last notified by a characteristic, and when."""

    payload: bytes = b""
    at: float = float("-inf")


@contextlib.asynccontextmanager
async def connected(
    radio: Radio,
    device: BLEDevice,
    options: DeviceOptions,
    *,
    connect_seconds: float | None = None,
    waits: Callable[[], None] = lambda: None,
    gone: Callable[[], None] = lambda: None,
) -> AsyncIterator[Calls]:
    """Hold a connection to a device.

    Args:
        radio: the adapter to connect through.
        device: as the scan last saw it.
        options: how patient to be.
        connect_seconds: how patient with the connection itself; None: as the options say.
        waits: called when there is no room for another connection on this adapter.
        gone: called when the device ended the connection.

    Raises:
        LinkError: no connection.
    """
    timing = options.timing
    seconds = timing.connect if connect_seconds is None else connect_seconds

    def late() -> None:
        if radio.slots.locked():
            waits()

    async with contextlib.AsyncExitStack() as held:
        tell = asyncio.get_running_loop().call_later(timing.slot, late)
        held.callback(tell.cancel)
        async with radio.connecting:
            # The slot is taken by whoever's turn it is to connect, so that those who wait hold none.
            await radio.slots.acquire()
            held.callback(radio.slots.release)
            tell.cancel()
            deaths, upheavals = radio.bus_deaths, radio.upheavals
            client = BleakClient(device, lambda _: gone(), timeout=seconds)
            held.push_async_callback(_end, client, radio, timing.disconnect, deaths, upheavals)
            try:
                async with asyncio.timeout(seconds + 1.0):
                    await client.connect()
            except TimeoutError as error:
                raise LinkError(LinkReason.UNREACHABLE, f"no connection within {seconds:g} s") from error
            except BROKEN as error:
                raise LinkError(LinkReason.UNREACHABLE, words(error)) from error
        yield Calls(client, timing.call)


async def _end(client: BleakClient, radio: Radio, seconds: float, deaths: int, upheavals: int) -> None:
    """Disconnect, unless the bus is dead: its file number may belong to another connection by now."""
    if not await radio.bus_is_dead(deaths):
        with contextlib.suppress(*BROKEN):
            async with asyncio.timeout(seconds if radio.upheavals == upheavals else DEAD_SECONDS):
                await client.disconnect()


class DeviceLink:
    """The connection to one device, from its opening to its end.

    Args:
        radio: the adapter to connect through.
        options: which device and how it is read.
        labels: what the device's characteristics said of themselves, by handle; kept from one link to the next.
        prepared: gets the channels once the device is connected.
        take: gets each payload with the channel it came from and tells whether it was a temperature, which alone proves
            that the device lives; must not raise.
        refused: gets why the device refuses a temperature; the link stays and goes on trying.
        waits: called when there is no room for another connection on this adapter.
    """

    def __init__(
        self,
        radio: Radio,
        options: DeviceOptions,
        labels: Labels,
        *,
        prepared: Callable[[list[Channel]], None],
        take: Callable[[Channel, bytes], bool],
        refused: Callable[[LinkError], None],
        waits: Callable[[], None],
    ) -> None:
        self._radio = radio
        self._options = options
        self._labels = labels
        self._prepared = prepared
        self._take = take
        self._tell_refused = refused
        self._waits = waits
        self._loop = asyncio.get_running_loop()
        self._gone = asyncio.Event()
        self._alive = self._loop.time()
        self._upheavals = radio.upheavals
        self._refused = ""
        """What the device refused last, while it gives no temperature."""
        self._last: dict[int, _Last] = {}

    def radio_changed(self) -> None:
        """End when BlueZ, the adapter or the bus went away since this link was made."""
        if self._radio.upheavals != self._upheavals:
            self._gone.set()

    async def run(self, device: BLEDevice, connect_seconds: float) -> None:
        """Connect and take payloads until the link ends, which it always does by an error.

        Args:
            device: as the scan last saw it.
            connect_seconds: how long the connection may take.

        Raises:
            LinkError: it could not be opened, or ended.
        """
        async with connected(
            self._radio, device, self._options, connect_seconds=connect_seconds, waits=self._waits, gone=self._gone.set
        ) as calls:
            channels = await self._find(calls)
            self._alive = self._loop.time()
            self._prepared(channels)
            try:
                async with asyncio.TaskGroup() as group:
                    following = [group.create_task(self._follow(calls, channel)) for channel in channels]
                    await self._until_quiet(calls, channels)
                    for task in following:
                        task.cancel()
            except ExceptionGroup as errors:
                raise errors.exceptions[0] from errors
        if self._gone.is_set():
            raise LinkError(LinkReason.LOST, "the device ended the connection")
        if self._refused:
            raise LinkError(LinkReason.DEVICE_REFUSED, self._refused)
        raise LinkError(LinkReason.SILENT, f"nothing for {patience(channels, self._options.quiet):g} s")

    async def _find(self, calls: Calls) -> list[Channel]:
        described = self._options.described
        if described is None:
            return await standard_channels(calls, self._labels)
        return described_channels(calls, described)

    async def _until_quiet(self, calls: Calls, channels: list[Channel]) -> None:
        """Wait until the link is gone, or has said nothing for too long and nothing when asked."""
        quiet = patience(channels, self._options.quiet)
        while not self._gone.is_set():
            left = self._alive + quiet - self._loop.time()
            if left <= 0:
                before = self._alive
                for channel in channels:  # some notify only when the temperature changes
                    if channel.readable and channel.notifies and not channel.battery:
                        await self._read(calls, channel)
                if self._alive == before:
                    return
                continue
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(left):
                    await self._gone.wait()

    async def _follow(self, calls: Calls, channel: Channel) -> None:
        """Take one characteristic's payloads: read it once where it can be, then subscribe, or read again and again."""
        try:
            if self._options.described is not None and not channel.notifies:
                await self._write_first(calls)
            if channel.readable:
                await self._read(calls, channel)
            if channel.notifies and await self._subscribe(calls, channel):
                await self._write_first(calls)  # what answers to it must find us listening
                return
            while channel.readable:
                await asyncio.sleep(channel.every_seconds)
                await self._read(calls, channel)
        except LinkError:
            # A battery that cannot be had is no reason to lose the temperature.
            if not channel.battery or not calls.client.is_connected:
                raise

    async def _write_first(self, calls: Calls) -> None:
        """Write what the device wants written on each connection before it speaks."""
        described = self._options.described
        for uuid, payload in described.writes if described is not None else ():
            await calls.write(uuid, payload)

    async def _read(self, calls: Calls, channel: Channel) -> None:
        """Read a characteristic; one that is refused (to strangers, or just now) is tried again, the link stays."""
        try:
            payload = await calls.read(channel.characteristic)
        except LinkError as error:
            if error.reason is not LinkReason.DEVICE_REFUSED:
                raise
            self._refuse(channel, error)
        else:
            self._hear(channel, payload)

    async def _subscribe(self, calls: Calls, channel: Channel) -> bool:
        """Have notifications sent; tell whether they are, false where it is refused and can be read instead."""

        def notified(_: BleakGATTCharacteristic, data: bytearray) -> None:
            self._hear(channel, bytes(data))

        try:
            await calls.subscribe(channel.characteristic, notified, acquire=self._options.acquire)
        except LinkError as error:
            if error.reason is not LinkReason.DEVICE_REFUSED:
                raise
            self._refuse(channel, error)
            if not channel.readable:
                raise
            return False
        return True

    def _refuse(self, channel: Channel, error: LinkError) -> None:
        if not channel.battery:
            self._refused = error.detail
            self._tell_refused(error)

    def _hear(self, channel: Channel, payload: bytes) -> None:
        """Take a payload, unless it is the one just heard: notified twice, or read and notified of it too."""
        now = self._loop.time()
        last = self._last.setdefault(channel.characteristic.handle, _Last())
        if payload == last.payload and now - last.at < TWICE_SECONDS:
            return
        last.payload, last.at = payload, now
        if self._take(channel, payload):
            self._alive, self._refused = now, ""
