"""What a device says, as readings: which device, which key, which time, and what a hostile one gets done (nothing)."""

import asyncio
import datetime as dt
import math
import struct
import time

import msgspec
import pytest
from dbus_fast import Variant

from adapters.ble.advert import Advert
from adapters.ble.channels import free_key
from adapters.ble.freshness import RESTART_SECONDS, Freshness
from adapters.ble.options import DeviceOptions, Match, RadioOptions
from adapters.ble.radio import Radio
from adapters.ble.sighting import Sighting
from adapters.ble.source import BleSource
from adapters.decode.bthome_cipher import decrypt  # noqa: F401 - says at once when the package is missing
from adapters.decode.layout import Require
from adapters.errors import DecodeError, LinkReason
from adapters.reading import Quality, Reason, Unit
from adapters.source import Link, LinkState
from tests.adapters.ble.night import BOX, DATA, FAST, Listening, device_source, layout, listening, packet
from tests.waiting import WAIT_SECONDS

FCD2 = "0000fcd2-0000-1000-8000-00805f9b34fb"
ENVIRONMENT = "0000181a-0000-1000-8000-00805f9b34fb"


class StillRadio:
    """Only what a source asks of a radio that is up; advertisements are handed over by the test."""

    link = Link(LinkState.UP)
    options = None
    timing = FAST


def still(**more):
    more.setdefault("match", Match(address=BOX.lower()))
    return BleSource(DeviceOptions("s", **more), StillRadio(), clock=lambda: 1_790_000_000.0)


def taken(source):
    found = []
    while (reading := source._inbox.get()) is not None:
        found.append(reading)
    return found


def advert(data=b"", uuid=ENVIRONMENT, address=BOX, rssi=-60, **more):
    return Advert(address, 1_790_000_000.0, rssi, service_data={uuid: data} if data else {}, **more)


@pytest.mark.parametrize(
    ("match", "fits"),
    [
        (Match(address=BOX.lower()), True),
        (Match(address="c0:1d:51:de:00:99"), False),
        (Match(name="grate*"), True),
        (Match(name="GRATE ?"), True),
        (Match(name="meat*"), False),
        (Match(service=ENVIRONMENT), True),
        (Match(service=FCD2), False),
        (Match(company=0xFFFF), True),
        (Match(company=1), False),
        (Match(name="grate*", company=1), False),
    ],
)
def test_all_that_is_given_must_hold(match, fits):
    heard = Advert(BOX, 0.0, -60, "Grate 1", service_data={ENVIRONMENT: b"\0\0"}, manufacturer_data={0xFFFF: b""})
    assert match(heard) is fits


def test_an_address_of_macos_is_a_uuid():
    uuid = "6F1D6A0E-93C7-4A55-8D5C-0B1F8E7A2C11"
    assert Match(address=uuid.lower())(advert(address=uuid))
    source = still(match=Match(address=uuid.lower()), read="adverts")
    source.hear(advert(bytes.fromhex("4002ca09"), FCD2, uuid), None)
    assert taken(source)[0].celsius == pytest.approx(25.06)


def test_published_encrypted_packets_are_read_and_each_only_once(reference):
    """Bytes of both published encryption examples (see the data's own notes on their sources)."""
    for example in reference("bthome.json")["encryption"]:
        mac = ":".join(example["mac"][i : i + 2] for i in range(0, 12, 2))
        payload = bytes.fromhex(example["service_data"])
        source = still(match=Match(address=mac.lower()), bind_key=bytes.fromhex(example["key"]), read="adverts")
        source.hear(advert(payload, FCD2, mac), None)
        source.hear(advert(payload, FCD2, mac), None)
        (reading,) = taken(source)
        assert (reading.key, reading.celsius) == ("temperature", pytest.approx(25.06))


def sealed(key, mac, counter, plain):
    from cryptography.hazmat.primitives.ciphers.aead import AESCCM

    count = struct.pack("<I", counter)
    nonce = mac + bytes.fromhex("d2fc41") + count
    sealed = AESCCM(key, tag_length=4).encrypt(nonce, plain, None)
    return b"\x41" + sealed[:-4] + count + sealed[-4:]


def test_an_old_encrypted_packet_is_refused_and_a_restarted_device_is_not():
    key, mac = bytes(range(16)), bytes.fromhex(BOX.replace(":", ""))
    source = still(bind_key=key, read="adverts")
    for counter, celsius in ((100, 25.0), (101, 26.0), (100, 25.0), (99, 99.0), (102, 27.0)):
        plain = b"\x02" + struct.pack("<h", round(celsius * 100))
        source.hear(advert(sealed(key, mac, counter, plain), FCD2), None)
    assert [r.celsius for r in taken(source)] == [pytest.approx(c) for c in (25.0, 26.0, 27.0)]
    assert source.counts.undecodable == 2
    assert "old packet" in source.counts.last_error
    forged = b"\x40\x02" + struct.pack("<h", 9900)
    source.hear(advert(forged, FCD2), None)
    assert not taken(source), "a plain packet does not pass where a key is set"
    fresh = Freshness()
    assert fresh.is_new(b"a", 500, 0.0, must_rise=True)
    with pytest.raises(DecodeError):
        fresh.is_new(b"b", 3, RESTART_SECONDS - 1, must_rise=True)
    assert fresh.is_new(b"b", 3, RESTART_SECONDS + 1, must_rise=True)


def test_the_wrong_key_is_told_and_nothing_comes_of_it():
    key, mac = bytes(range(16)), bytes.fromhex(BOX.replace(":", ""))
    source = still(bind_key=bytes(16), read="adverts")
    source.hear(advert(sealed(key, mac, 1, bytes.fromhex("02ca09")), FCD2), None)
    assert not taken(source)
    assert source.counts.undecodable == 1


def test_a_probe_that_names_no_key_gets_the_first_temperature():
    source = still(read="adverts", first_key="flat")
    source.hear(advert(bytes.fromhex("4002ca09451101"), FCD2), None)
    assert [(r.key, r.celsius) for r in taken(source)] == [
        ("flat", pytest.approx(25.06)), ("temperature 2", pytest.approx(27.3)),
    ]  # fmt: skip


def test_no_probe_and_outside_the_range_are_readings_with_their_reason():
    source = still(described=layout())
    data = struct.pack("<Bhh", 1, 0x7FFF, 30000)
    source.hear(advert(data, "0000fff0-0000-1000-8000-00805f9b34fb"), None)
    left, right = taken(source)
    assert (left.quality, left.reason) == (Quality.BAD, Reason.NOT_A_NUMBER)
    assert math.isnan(left.celsius)
    assert (right.quality, right.reason) == (Quality.BAD, Reason.OUT_OF_RANGE)


def test_a_second_device_that_fits_does_not_mix_in():
    source = still(match=Match(name="box*"), read="adverts", quiet=30.0)
    source.hear(advert(bytes.fromhex("e029"), name="box 1"), None)
    source.hear(advert(bytes.fromhex("0000"), name="box 2", address="C0:1D:51:DE:00:02"), None)
    assert [r.celsius for r in taken(source)] == [pytest.approx(107.2)]


def test_malformed_data_is_counted_and_dropped():
    source = still(read="adverts")
    for data in (b"\x40", b"\x40\x02", b"\x40\xfe\x01", b"\x00\x01", b"\x41" + bytes(9), bytes(255)):
        source.hear(advert(data, FCD2), None)
    source.hear(advert(b"\x01", ENVIRONMENT), None)
    good = [r for r in taken(source) if r.quality is Quality.GOOD]
    assert not good
    assert source.counts.undecodable >= 5
    assert source.counts.heard >= source.counts.undecodable - 1


def test_a_packet_cut_short_does_not_make_a_repetition_a_measurement():
    source = still(described=layout())
    for data in (packet(7), b"", packet(7), packet(8)):
        source.hear(advert(data, DATA) if data else Advert(BOX, 0.0, -60, service_data={DATA: b""}), None)
    good = [r.celsius for r in taken(source) if r.quality is Quality.GOOD]
    assert good == [pytest.approx(c) for c in (107.2, 98.6, 107.2, 98.6)]


def test_packets_of_another_kind_are_passed_over_and_counted():
    source = still(described=layout(length=(5, 5), require=(Require(at=0, value=1),)))
    for data in (packet(1), packet(2), packet(1)[:4]):
        source.hear(advert(data, DATA), None)
    assert len(taken(source)) == 2
    assert source.counts.skipped == 2
    assert not source.counts.undecodable


async def test_a_device_that_is_gone_holds_up_the_others_only_for_a_moment(bluez, hci0):
    """Connections are opened one at a time, so one nobody answers must not take its full patience."""
    timing = msgspec.structs.replace(FAST, connect=10 * WAIT_SECONDS, last_retry=0.2)
    radio = Radio(RadioOptions(), timing)
    devices = [hci0.add_device(f"C0:1D:51:DE:03:{n:02}", name=f"box {n}") for n in range(2)]
    chars = [d.gatt.add_service("fff0").add_characteristic("fff1", flags=["notify"], value=b"") for d in devices]
    sent = 0

    def send():
        nonlocal sent
        sent += 1
        for device, char in zip(devices, chars, strict=True):
            if char.notifying:
                char.notify(packet(sent))
            elif not gone or device is devices[0]:
                device.advertise(-50 - sent % 20)

    gone = False
    sources = [
        BleSource(DeviceOptions(f"s{n}", Match(name=f"box {n}"), layout("notify"), timing=timing, quiet=5.0), radio)
        for n in range(2)
    ]
    async with listening(*sources) as (here, away):
        await here.hears(2, poke=send)
        await away.hears(2, poke=send)
        gone = True
        bluez.faults.hang("Connect", device=devices[1], times=None)
        devices[1].drop_link()
        await here.until(lambda: bluez.called("Connect") > 2)
        devices[0].drop_link()
        await here.hears(2, poke=send)


async def test_the_probes_own_time_is_kept_and_read_by_its_clock(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    flags, stamp = 0x02, struct.pack("<HBBBBB", 2026, 11, 24, 3, 30, 0)
    value = bytes([flags]) + bytes.fromhex("ca0800ff") + stamp
    device.gatt.add_service("1809").add_characteristic("2a1c", flags=["indicate", "read"], value=value)
    for clock, want in (
        ("utc", dt.datetime(2026, 11, 24, 3, 30, tzinfo=dt.UTC).timestamp()),
        ("local", dt.datetime(2026, 11, 24, 3, 30).astimezone().timestamp()),
        ("ignore", None),
    ):
        async with listening(device_source(radio, read="connection", clock=clock)) as night:
            (reading,) = await night.hears(1, poke=lambda: device.advertise(-50 - len(bluez.calls) % 20))
            assert reading.source_unix == want
            assert (reading.celsius, reading.unit) == (pytest.approx(225.0), Unit.CELSIUS)


async def test_a_device_that_advertises_its_temperature_is_not_connected_to(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    device.gatt.add_service("181a").add_characteristic("2a6e", flags=["read"], value=bytes.fromhex("e029"))
    async with listening(device_source(radio, quiet=5.0)) as night:
        for n in range(8):
            await night.hears(1, poke=lambda n=n: device.advertise(-60, {"fcd2": struct.pack("<BBh", 64, 2, 2500 + n)}))
            await asyncio.sleep(0.03)
        assert not bluez.called("Connect")


async def test_a_device_that_does_not_is_connected_to_and_polled(bluez, radio, hci0):
    device = hci0.add_device(BOX, services=["181a"])
    service = device.gatt.add_service("181a")
    for number, text in enumerate((b"Left", b"\x1b[2JRight", b"")):
        char = service.add_characteristic("2a6e", flags=["read", "notify"], value=struct.pack("<h", 10000 + number))
        char.add_descriptor("2901", text)
    device.gatt.add_service("180f").add_characteristic("2a19", flags=["read"], value=b"\x11")
    async with listening(device_source(radio)) as night:
        await night.hears(3, poke=lambda: device.advertise(-50 - len(bluez.calls) % 20))
        assert {r.key: round(r.celsius, 2) for r in night.readings} == {
            "Left": 100.0, "[2JRight": 100.01, "temperature": 100.02,
        }  # fmt: skip
        await night.until(lambda: night.source.vitals.battery_percent == 17.0)


async def test_a_device_that_is_heard_only_once_is_connected_to_all_the_same(bluez, radio, hci0):
    """BlueZ signals a device that sends no data once, and again only when its strength changes."""
    device = hci0.add_device(BOX, services=["181a"])
    device.gatt.add_service("181a").add_characteristic("2a6e", flags=["read"], value=bytes.fromhex("e029"))
    async with listening(device_source(radio)) as night:
        await night.until(bluez.discovering)
        device.advertise(-60)
        await night.hears(1)


async def test_any_characteristic_with_a_format_in_degrees_will_do(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    char = device.gatt.add_service("ff10").add_characteristic("ff11", flags=["read"], value=struct.pack("<h", 2250))
    char.add_descriptor("2904", bytes.fromhex("0effac27010000"))
    async with listening(device_source(radio, read="connection", first_key="dome")) as night:
        (reading,) = await night.hears(1, poke=lambda: device.advertise(-50 - len(bluez.calls) % 20))
        assert (reading.key, reading.unit) == ("dome", Unit.FAHRENHEIT)
        assert reading.celsius == pytest.approx(107.222, abs=1e-3)


async def test_a_device_without_a_temperature_says_so(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    device.gatt.add_service("180f").add_characteristic("2a19", flags=["read"], value=b"\x11")
    async with listening(device_source(radio, read="connection")) as night:
        async with asyncio.timeout(WAIT_SECONDS):
            while night.source.link.reason is not LinkReason.NO_TEMPERATURE:
                device.advertise(-50 - len(bluez.calls) % 20)
                await asyncio.sleep(0.02)
        assert "scan --connect" in night.source.link.detail


async def test_what_it_wants_written_is_written_on_every_connection(bluez, radio, hci0):
    from adapters.decode.layout import Write

    device = hci0.add_device(BOX)
    service = device.gatt.add_service("fff0")
    command = service.add_characteristic("fff2", flags=["write"])
    char = service.add_characteristic("fff1", flags=["notify"])
    described = layout("notify", on_connect=(Write(uuid="fff2", bytes="01 ff"),))
    sent = 0

    def send():
        nonlocal sent
        sent += 1
        char.notify(packet(sent)) if char.notifying else device.advertise(-50 - sent % 20)

    async with listening(device_source(radio, described=described, quiet=10 * WAIT_SECONDS)) as night:
        await night.hears(2, poke=send)
        device.drop_link()
        await night.hears(2, poke=send)
    assert command.writes == [b"\x01\xff"] * 2


async def test_it_reads_as_often_as_the_layout_says(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    char = device.gatt.add_service("fff0").add_characteristic("fff1", flags=["read"], value=packet(1))
    async with listening(device_source(radio, described=layout("read", every=0.2))) as night:
        await night.hears(6, poke=lambda: device.advertise(-50 - len(bluez.calls) % 20))
        assert char.reads >= 3


async def test_a_passive_scan_waits_for_the_layouts_bytes(bluez, hci0):
    from adapters.ble.options import RadioOptions
    from adapters.ble.radio import Radio

    radio = Radio(RadioOptions(patterns=((0x16, bytes.fromhex("f0ff")),)), FAST)
    device = hci0.add_device(BOX)
    sent = 0

    def send():
        nonlocal sent
        sent += 1
        device.advertise(-50 - sent % 20, {"fff0": packet(sent)})

    async with listening(device_source(radio, described=layout())) as night:
        await night.hears(2, poke=send)
    assert not bluez.called("StartDiscovery")


async def test_many_sources_share_one_scan(bluez, radio, hci0):
    devices = [hci0.add_device(f"C0:1D:51:DE:02:{n:02X}") for n in range(8)]
    sources = [device_source(radio, f"s{n}", match=Match(address=d.address.lower()), read="adverts")
               for n, d in enumerate(devices)]  # fmt: skip
    async with listening(*sources) as nights:
        async with asyncio.timeout(WAIT_SECONDS):
            while not all(night.readings for night in nights):
                for n, device in enumerate(devices):
                    device.advertise(-60 - n, {"181a": struct.pack("<h", 10000 + n)})
                await asyncio.sleep(0.02)
        assert bluez.called("StartDiscovery") == 1
        assert [round(night.readings[0].celsius, 2) for night in nights] == [100 + n / 100 for n in range(8)]


async def test_one_listener_that_fails_does_not_stop_the_others(bluez, radio, hci0):
    class Broken:
        def hear(self, advert, device):
            raise RuntimeError("a fault of ours")

        def radio_changed(self):
            pass

    device = hci0.add_device(BOX)
    async with radio.attached(Broken()):
        night = Listening(device_source(radio, read="adverts"))
        try:
            await night.hears(1, poke=lambda: device.advertise(-60, {"181a": bytes.fromhex("e029")}))
        finally:
            await night.stop()
    assert radio.faults > 0


async def test_while_connected_a_neighbours_device_that_fits_too_is_not_ours(bluez, radio, hci0):
    mine = hci0.add_device(BOX, name="box")
    char = mine.gatt.add_service("181a").add_characteristic("2a6e", flags=["notify"], value=b"")
    other = hci0.add_device("C0:1D:51:DE:00:09", name="box")
    sent = 0

    def send():
        nonlocal sent
        sent += 1
        if char.notifying:
            char.notify(struct.pack("<h", 5000 + sent))
            other.advertise(-50 - sent % 20, {"181a": struct.pack("<h", 9900)})
        else:
            mine.advertise(-50 - sent % 20)

    async with listening(device_source(radio, match=Match(name="box"), quiet=0.2)) as night:
        await night.hears(30, poke=send)
        assert max(r.celsius for r in night.readings) < 60.0


@pytest.mark.parametrize("trouble", ["not paired", "busy", "hangs"])
async def test_a_label_or_a_battery_that_cannot_be_had_costs_no_temperature(trouble, bluez, radio, hci0):
    device = hci0.add_device(BOX)
    service = device.gatt.add_service("181a")
    char = service.add_characteristic("2a6e", flags=["notify"], value=b"")
    label = device.gatt.add_service("ff10").add_characteristic("ff11").add_descriptor("2901", b"x")
    battery = device.gatt.add_service("180f").add_characteristic("2a19", flags=["read"], value=b"\x32")
    for attribute in (label, battery):
        if trouble == "hangs":
            bluez.faults.hang("ReadValue", device=attribute, times=None)
        else:
            name = "NotPermitted" if trouble == "not paired" else "InProgress"
            bluez.faults.on("ReadValue", device=attribute, error=(f"org.bluez.Error.{name}", trouble), times=None)
    sent = 0

    def send():
        nonlocal sent
        sent += 1
        char.notify(struct.pack("<h", 5000 + sent)) if char.notifying else device.advertise(-50 - sent % 20)

    async with listening(device_source(radio, read="connection", quiet=2.0)) as night:
        await night.hears(30, poke=send)
        assert night.source.counts.relinked == 0


async def test_a_refused_temperature_is_told_as_that(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    char = device.gatt.add_service("181a").add_characteristic("2a6e", flags=["read"], value=b"")
    bluez.faults.on("ReadValue", device=char, error=("org.bluez.Error.NotPermitted", "Not paired"), times=None)
    async with listening(device_source(radio, read="connection", quiet=0.3)) as night:
        async with asyncio.timeout(WAIT_SECONDS):
            while night.source.link.reason is not LinkReason.DEVICE_REFUSED:
                device.advertise(-50 - len(bluez.calls) % 20)
                await asyncio.sleep(0.02)
                assert night.source.link.state is not LinkState.UP
        assert "Not paired" in night.source.link.detail
        assert "bluetoothctl pair" in night.source.link.detail


def test_with_a_key_no_other_data_is_believed():
    source = still(bind_key=bytes(16), read="adverts")
    source.hear(advert(bytes.fromhex("e029"), ENVIRONMENT), None)
    assert not taken(source)


async def test_the_first_temperature_is_the_first_by_handle_not_the_first_to_speak(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    service = device.gatt.add_service("181a")
    first, second = (service.add_characteristic("2a6e", flags=["notify"], value=b"") for _ in range(2))
    sent = 0

    def send():
        nonlocal sent
        sent += 1
        if second.notifying and first.notifying:
            second.notify(struct.pack("<h", 2000 + sent))
            if sent % 3 == 0:
                first.notify(struct.pack("<h", 1000 + sent))
        else:
            device.advertise(-50 - sent % 20)

    async with listening(device_source(radio, read="connection", first_key="flat")) as night:
        await night.hears(12, poke=send)
        assert {r.key: r.celsius >= 20 for r in night.readings} == {"temperature 2": True, "flat": False}


def test_a_device_that_counts_anew_at_every_waking_is_heard():
    fresh = Freshness()
    assert fresh.is_new(b"a", 0, 0.0)
    assert not fresh.is_new(b"b", 0, 10.0), "the same count is the same measurement"
    assert fresh.is_new(b"c", 0, 200.0)
    assert not fresh.is_new(b"c", 0, 400.0), "the very same packet is no new measurement, however late"


async def test_a_slow_layout_is_not_cut_off_between_two_reads(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    device.gatt.add_service("fff0").add_characteristic("fff1", flags=["read"], value=packet(1))
    async with listening(device_source(radio, described=layout("read", every=0.6), quiet=0.2)) as night:
        await night.hears(6, poke=lambda: device.advertise(-50 - len(bluez.calls) % 20))
        assert night.source.counts.relinked == 0


async def test_a_probe_that_notifies_of_changes_only_is_asked_before_it_is_called_silent(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    value = bytes.fromhex("e029")
    device.gatt.add_service("181a").add_characteristic("2a6e", flags=["read", "notify"], value=value)
    async with listening(device_source(radio, read="connection", quiet=0.2)) as night:
        await night.hears(4, poke=lambda: device.advertise(-50 - len(bluez.calls) % 20))
        assert night.source.counts.relinked == 0


async def test_a_changed_random_address_is_followed_within_seconds():
    old, new = "5A:00:00:00:00:01", "5A:00:00:00:00:02"
    sighting = Sighting(Match(name="tip"), 60.0)
    said = {"name": "tip", "random_address": True}
    assert all(sighting.is_ours(advert(address=old, **said), None, float(k)) for k in range(10))
    twin, static = "5A:00:00:00:00:03", "C5:00:00:00:00:04"
    assert not sighting.is_ours(advert(address=twin, **said), None, 9.5), "ours speaks yet"
    assert not sighting.is_ours(advert(address=twin, **said), None, 16.0), "heard beside ours: another of the kind"
    assert not sighting.is_ours(advert(address=static, **said), None, 16.0), "of a kind that does not change"
    assert sighting.is_ours(advert(address=new, **said), None, 16.0)
    assert not sighting.is_ours(advert(address=BOX, name="tip"), None, 25.0)


async def test_what_bluez_remembers_of_an_advertisement_is_not_heard_again(bluez, radio, hci0):
    """A device whose advertisements take turns: BlueZ keeps the temperature while another kind is sent."""
    device = hci0.add_device(BOX, name="box")
    async with listening(device_source(radio, read="adverts", quiet=30.0)) as night:
        await night.until(bluez.discovering)
        device.advertise(-60, {"181a": bytes.fromhex("e029")})
        await night.until(lambda: night.readings)
        for n in range(25):
            device.advertise(-60 - n % 5, None, {0x004C: bytes([n])})
            await asyncio.sleep(0.05)
        assert len(night.readings) == 1
        device.advertise(-60, {"181a": bytes.fromhex("e029")})
        await night.until(lambda: len(night.readings) == 2)


async def test_a_key_holds_whether_it_comes_by_air_or_by_connection(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    char = device.gatt.add_service("181a").add_characteristic("2a6e", flags=["read"], value=bytes.fromhex("e029"))
    char.add_descriptor("2901", b"Grate")
    async with listening(device_source(radio, first_key="pit")) as night:
        await night.hears(1, poke=lambda: device.advertise(-50 - len(bluez.calls) % 20))
        device.drop_link()
        await night.hears(1, poke=lambda: device.advertise(-60, {"181a": bytes.fromhex("e129")}))
        assert {r.key for r in night.readings} == {"pit"}


async def test_packets_that_are_no_temperature_do_not_keep_a_link_alive(bluez, radio, connector):
    described = layout("notify", require=(Require(at=0, value=0, mask=0x80),))
    async with listening(device_source(radio, described=described, quiet=0.4)) as night:
        await night.hears(2, poke=connector.send)
        for _ in range(16):
            connector.char.notify(b"\xff\x00\x00\x00\x00")
            await asyncio.sleep(0.05)
        await night.until(lambda: night.source.counts.relinked)
        assert night.source.counts.skipped


def test_an_hour_the_clocks_repeat_is_read_as_the_one_that_is_now(monkeypatch):
    monkeypatch.setenv("TZ", "America/Chicago")
    time.tzset()
    try:
        for now in (1793511000.0, 1793514600.0):  # 1 November 2026, 00:30 and, an hour later, 01:30 twice
            source = BleSource(DeviceOptions("s", Match(address=BOX.lower())), StillRadio(), clock=lambda now=now: now)
            measured = dt.datetime.fromtimestamp(now).replace(fold=0)  # noqa: DTZ006 - a probe's clock has no zone
            assert source._source_unix(measured) == now
    finally:
        monkeypatch.undo()
        time.tzset()


def test_no_two_temperatures_get_one_name():
    taken = set()
    assert [free_key(name, taken) for name in ("temperature 2", "temperature", "temperature")] == [
        "temperature 2", "temperature", "temperature 3",
    ]  # fmt: skip


async def test_instances_told_apart_by_their_format_alone(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    service = device.gatt.add_service("181a")
    for number in (2, 1):
        char = service.add_characteristic("2a6e", flags=["read"], value=struct.pack("<h", 1000 * number))
        char.add_descriptor("2904", bytes.fromhex("0efe2f2701") + struct.pack("<H", number))
    async with listening(device_source(radio, read="connection")) as night:
        await night.hears(2, poke=lambda: device.advertise(-50 - len(bluez.calls) % 20))
        assert {r.key: r.celsius for r in night.readings} == {"temperature 2": 20.0, "temperature 1": 10.0}


async def test_a_label_once_read_is_kept_for_the_next_connection(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    char = device.gatt.add_service("181a").add_characteristic("2a6e", flags=["read"], value=bytes.fromhex("e029"))
    label = char.add_descriptor("2901", b"grate")
    async with listening(device_source(radio, read="connection", quiet=1.0)) as night:
        poke = lambda: device.connected or device.advertise(-50 - len(bluez.calls) % 20)  # noqa: E731
        await night.hears(1, poke=poke)
        bluez.faults.on("ReadValue", device=label, error=("org.bluez.Error.InProgress", "busy"), times=1)
        device.drop_link()
        await night.hears(1, poke=poke)
        assert {r.key for r in night.readings} == {"grate"}


async def test_a_device_left_connected_is_known_by_what_it_last_advertised(bluez, radio, hci0):
    device = hci0.add_device(BOX)
    char = device.gatt.add_service("181a").add_characteristic("2a6e", flags=["notify"], value=b"")
    device.properties["ManufacturerData"] = Variant("a{qv}", {0xFFFF: Variant("ay", b"\1")})
    device.link_up()
    device.published or device.publish()
    async with listening(device_source(radio, match=Match(company=0xFFFF), read="connection")) as night:
        await night.hears(1, poke=lambda: char.notifying and char.notify(bytes.fromhex("e029")))


async def test_losing_something_else_of_the_adapter_ends_no_link(bluez, radio, connector):
    async with listening(device_source(radio, described=layout("notify"))) as night:
        await night.hears(2, poke=connector.send)
        bluez.wire_removed(connector.adapter.path, ["org.bluez.Media1"])
        await bluez.drained()
        await night.hears(4, poke=connector.send)
        assert radio.upheavals == 0
        assert night.source.counts.relinked == 0


async def test_bluez_may_restart_between_two_links_of_a_stuck_scan(bluez, radio, connector):
    """The scan rests, a link lives: its end must be noticed all the same."""
    async with listening(device_source(radio, described=layout("notify"), quiet=30.0)) as night:
        await night.hears(2, poke=connector.send)
        busy = ("org.bluez.Error.InProgress", "Operation already in progress")
        bluez.faults.on("StartDiscovery", error=busy, times=4)
        radio._watch.disturbed.set()
        await night.until(lambda: radio.link.reason is LinkReason.STUCK)
        await bluez.restart()
        await night.hears(2, poke=connector.send)


@pytest.mark.parametrize(
    ("error", "reason"),
    [("Failed", LinkReason.STUCK), ("NotAuthorized", LinkReason.BUS_REFUSED), ("NotReady", LinkReason.STUCK)],
)
async def test_a_scan_that_does_not_start_says_why(error, reason, bluez, radio, connector):
    bluez.faults.on("StartDiscovery", error=(f"org.bluez.Error.{error}", "x"), times=None)
    async with listening(device_source(radio, described=layout("notify"))) as night:
        await night.until(lambda: night.source.link.reason is reason)


async def test_one_who_comes_while_the_last_one_goes_is_watched_over(bluez, radio, advertiser):
    bluez.faults.delay("StopDiscovery", 0.2, times=1)
    night = Listening(device_source(radio, described=layout()))
    await night.hears(2, poke=advertiser.send)
    going = asyncio.create_task(night.stop())
    await asyncio.sleep(0.05)
    async with listening(device_source(radio, described=layout())) as again:
        await going
        await again.hears(2, poke=advertiser.send)
        assert radio._watch is not None
