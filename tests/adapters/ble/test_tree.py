"""The tree of a connected device, over the fake of BlueZ and the real bleak."""

import asyncio
import contextlib
import struct
import time

import pytest

from adapters.ble.link import connected
from adapters.ble.options import DeviceOptions, Match, RadioOptions, Timing
from adapters.ble.radio import Radio
from adapters.ble.tree import TreeReader
from adapters.decode.gatt import uuid16
from tests.waiting import WAIT_SECONDS, until

FORK = "C0:1D:51:DE:00:03"
FAST = Timing(call=0.4, connect=0.8, disconnect=1.0, first_retry=0.02, last_retry=0.1)
FAHRENHEIT_TENTHS = bytes([0x0E, 0xFF, 0xAC, 0x27, 1, 0, 0])


class Ear:
    def __init__(self):
        self.found = asyncio.get_running_loop().create_future()

    def hear(self, advert, device):
        if advert.address == FORK and not self.found.done():
            self.found.set_result(device)

    def radio_changed(self):
        pass


@pytest.fixture
def fork(hci0):
    return hci0.add_device(FORK, name="fork")


@contextlib.asynccontextmanager
async def reading(fork, heard=lambda *_: None):
    """Connect, and hand out the reader and the event of the connection's end."""
    radio, ear, gone = Radio(RadioOptions(), FAST), Ear(), asyncio.Event()
    async with radio.attached(ear):
        async with asyncio.timeout(WAIT_SECONDS):
            while not ear.found.done():
                fork.advertise(-60)
                await asyncio.sleep(0.01)
        options = DeviceOptions("fork", Match(), timing=FAST)
        async with connected(radio, ear.found.result(), options, gone=gone.set) as calls:
            yield TreeReader(calls, time.time, heard), gone


def by_uuid(tree):
    return {c.uuid[4:8]: c for _, c in tree.characteristics()}


async def test_what_a_device_offers(bluez, fork):
    info = fork.gatt.add_service("180a")
    info.add_characteristic("2a29", flags=["read"], value=b"nobody\x1b[2J\xe2\x80\xae")
    sensing = fork.gatt.add_service("181a")
    standard = sensing.add_characteristic("2a6e", flags=["read", "notify"], value=struct.pack("<h", 2150))
    standard.add_descriptor("2901", b"left")
    own = fork.gatt.add_service("fff0")
    own.add_characteristic("fff4", flags=["read"], value=b"\x2c\x04").add_descriptor("2904", FAHRENHEIT_TENTHS)
    own.add_characteristic("fff3", flags=["write"])
    fork.gatt.add_service("180f").add_characteristic("2a19", flags=["read"], value=b"\x55")
    async with reading(fork) as (reader, _):
        await reader.read()
        tree = reader.tree()
    assert [s.uuid for s in tree.services] == [uuid16(n) for n in (0x180A, 0x181A, 0xFFF0, 0x180F)]
    found = by_uuid(tree)
    assert found["2a29"].text == "nobody[2J"
    assert (found["2a6e"].description, found["2a6e"].key) == ("left", "left")
    assert found["2a6e"].packet.values[0].celsius == pytest.approx(21.5)
    assert found["fff4"].packet.values[0].celsius == pytest.approx((106.8 - 32) / 1.8)
    assert (found["fff3"].value, found["fff3"].packet, found["fff3"].trouble) == (None, None, "")
    assert found["2a19"].packet.battery_percent == 85
    assert tree.lost == ""


async def test_what_refuses_is_shown_and_the_rest_is_read(bluez, fork):
    own = fork.gatt.add_service("fff0")
    refusing = own.add_characteristic("fff1", flags=["read", "notify"], value=b"\x01")
    own.add_characteristic("fff2", flags=["read"], value=b"\x02")
    for member in ("ReadValue", "StartNotify"):
        bluez.faults.on(member, error=("org.bluez.Error.NotPermitted", "not for you"), device=refusing)
    async with reading(fork) as (reader, gone):
        await reader.read()
        await reader.listen(0.1, asyncio.Event(), gone)
        found = by_uuid(reader.tree())
    assert "NotPermitted" in found["fff1"].trouble or "refuses" in found["fff1"].trouble
    assert found["fff1"].value is None
    assert found["fff2"].value == b"\x02"


async def test_notifications_are_collected_and_each_listening_begins_anew(bluez, fork):
    char = fork.gatt.add_service("fff0").add_characteristic("fff1", flags=["notify"])
    heard = []
    async with reading(fork, lambda *what: heard.append(what)) as (reader, gone):
        await reader.read()
        for turn in (1, 2):
            stop = asyncio.Event()
            listening = asyncio.create_task(reader.listen(10 * WAIT_SECONDS, stop, gone))
            await until(lambda: char.notifying)
            for n in range(3):
                char.notify(bytes([turn, n]))
                char.notify(bytes([turn, n]))
            await until(lambda turn=turn: len(heard) >= 3 * turn)
            await bluez.drained()
            stop.set()
            await listening
            group = by_uuid(reader.tree())["fff1"].group
            assert [payload for _, payload in group.history] == [bytes([turn, n]) for n in range(3)], "and none twice"
            assert group.place.source == "notify"
    assert len(heard) == 6
    assert bluez.called("StartNotify") == 1


async def test_what_cannot_notify_is_read_again(bluez, fork):
    values = iter(range(100))
    fork.gatt.add_service("fff0").add_characteristic("fff2", flags=["read"], value=lambda: bytes([next(values)]))
    async with reading(fork) as (reader, gone):
        await reader.read()
        await reader.listen(0.1, asyncio.Event(), gone)
        group = by_uuid(reader.tree())["fff2"].group
    assert (group.place.source, group.last) == ("read", b"\x01")


async def test_a_link_that_ends_leaves_what_was_read_and_says_so(bluez, fork):
    own = fork.gatt.add_service("fff0")
    own.add_characteristic("fff1", flags=["read", "notify"], value=b"\x01")
    async with reading(fork) as (reader, gone):
        await reader.read()
        asyncio.get_running_loop().call_later(0.05, fork.drop_link)
        async with asyncio.timeout(WAIT_SECONDS):
            await reader.listen(10 * WAIT_SECONDS, asyncio.Event(), gone)
        tree = reader.tree()
    assert by_uuid(tree)["fff1"].value == b"\x01"
    assert tree.lost == "the device ended the connection"


async def test_listening_ends_at_once_when_told(bluez, fork):
    fork.gatt.add_service("fff0").add_characteristic("fff1", flags=["notify"])
    stop = asyncio.Event()
    async with reading(fork) as (reader, gone):
        await reader.read()
        asyncio.get_running_loop().call_later(0.02, stop.set)
        async with asyncio.timeout(WAIT_SECONDS):
            await reader.listen(10 * WAIT_SECONDS, stop, gone)
            await reader.listen(10 * WAIT_SECONDS, stop, gone)


async def test_keys_are_those_of_a_source(bluez, fork):
    thermometer = fork.gatt.add_service("1809")
    thermometer.add_characteristic("2a1c", flags=["indicate"])
    thermometer.add_characteristic("2a1e", flags=["notify"])
    sensing = fork.gatt.add_service("181a")
    sensing.add_characteristic("2a6e", flags=["read"], value=struct.pack("<h", 100))
    async with reading(fork) as (reader, _):
        await reader.read()
        found = by_uuid(reader.tree())
    assert [found[u].key for u in ("2a1c", "2a1e", "2a6e")] == ["temperature", "temperature", "temperature 2"]
