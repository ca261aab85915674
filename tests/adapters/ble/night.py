"""A Bluetooth source being listened to, and the made-up device it hears: shared by the tests of this folder."""

import asyncio
import contextlib
import struct

from adapters.ble.options import DeviceOptions, Match, Timing
from adapters.ble.source import BleSource
from adapters.decode.described import Described
from adapters.decode.layout import Count, Layout, LayoutValue
from tests.waiting import WAIT_SECONDS

BOX = "C0:1D:51:DE:00:01"
FAST = Timing(
    call=0.5,
    connect=0.6,
    disconnect=1.0,
    scan_quiet=0.6,
    first_retry=0.02,
    last_retry=0.1,
    decide=0.1,
    unseen=0.3,
    slot=0.2,
)
DATA = "0000fff0-0000-1000-8000-00805f9b34fb"
NOTIFY = "0000fff1-0000-1000-8000-00805f9b34fb"


def layout(source="service_data", **more):
    value = LayoutValue(names=("left", "right"), at=1, type="sint16", exponent=-1, repeat=2, absent=(0x7FFF,))
    counter = Count(at=0) if source == "service_data" else None
    return Described("box", Layout(source=source, uuid="fff0" if source == "service_data" else "fff1",
                                   counter=counter, value=(value,), **more))  # fmt: skip


def packet(n, left=107.2, right=98.6):
    return struct.pack("<Bhh", n % 256, round(left * 10), round(right * 10))


class Listening:
    """A source being iterated, as the collector does it."""

    def __init__(self, source):
        self.source = source
        self.readings = []
        self.news = asyncio.Event()
        self.task = asyncio.create_task(self._iterate())

    async def _iterate(self):
        async for reading in self.source:
            self.readings.append(reading)
            self.news.set()

    async def hears(self, count=1, poke=None):
        """Wait for so many more readings, sending with `poke` meanwhile."""
        want = len(self.readings) + count
        async with asyncio.timeout(WAIT_SECONDS):
            while len(self.readings) < want:
                if poke is not None:
                    poke()
                self.news.clear()
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(0.03):
                        await self.news.wait()
        return self.readings[-count:]

    async def until(self, condition):
        async with asyncio.timeout(WAIT_SECONDS):
            while not condition():
                if self.task.done():
                    self.task.result()
                await asyncio.sleep(0.01)

    async def stop(self):
        self.task.cancel()
        await asyncio.gather(self.task, return_exceptions=True)


@contextlib.asynccontextmanager
async def listening(*sources):
    all_of_them = [Listening(s) for s in sources]
    try:
        yield all_of_them if len(all_of_them) > 1 else all_of_them[0]
    finally:
        for one in all_of_them:
            await one.stop()


def device_source(radio, name="box", **more):
    more.setdefault("match", Match(address=BOX.lower()))
    more.setdefault("quiet", 0.5)
    return BleSource(DeviceOptions(name, timing=FAST, **more), radio)
