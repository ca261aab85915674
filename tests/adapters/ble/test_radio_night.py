"""A source over a radio that misbehaves: after every fault readings flow again, each once, none stamped anew."""

import asyncio
import contextlib

import pytest
from dbus_fast import Variant

from adapters.ble.options import Match, RadioOptions
from adapters.ble.radio import Radio
from adapters.errors import LinkReason
from adapters.source import LinkState
from tests.adapters.ble.night import BOX, FAST, device_source, layout, listening, packet
from tests.waiting import WAIT_SECONDS


async def test_advertised_values_arrive_with_their_names(bluez, radio, advertiser):
    async with listening(device_source(radio, described=layout())) as night:
        left, right = await night.hears(2, poke=advertiser.send)
        assert (left.key, right.key) == ("left", "right")
        assert left.celsius == pytest.approx(107.2)
        assert right.celsius == pytest.approx(98.6)
        assert night.source.link.state is LinkState.UP
        assert night.source.vitals.rssi_dbm == -60


async def test_one_measurement_is_one_reading_however_often_it_is_sent(bluez, radio, advertiser):
    async with listening(device_source(radio, described=layout())) as night:
        await night.hears(2, poke=advertiser.send)
        before = len(night.readings)
        for _ in range(20):
            advertiser.advertise(-61, {"fff0": packet(advertiser.sent)})
        await bluez.drained()
        await asyncio.sleep(0.05)
        assert len(night.readings) == before, "the counter is the same"


async def test_a_steady_probe_without_a_counter_is_not_taken_for_dead(bluez, radio, hci0):
    device = hci0.add_device(BOX, name="box")
    source = device_source(radio, read="adverts")
    async with listening(source) as night:
        await night.until(lambda: bluez.discovering())
        for _ in range(3):
            device.advertise(-60, {"181a": bytes.fromhex("e029")})
            await bluez.drained()
        await night.until(lambda: night.readings)
        assert night.readings[0].celsius == pytest.approx(107.20)
        await asyncio.sleep(1.05)
        await night.hears(1, poke=lambda: device.advertise(-60, {"181a": bytes.fromhex("e029")}))


async def test_what_changes_without_an_advertisement_is_no_reading(bluez, radio, advertiser):
    """A connection by somebody else, a withdrawn signal strength, any other property."""
    async with listening(device_source(radio, described=layout(), quiet=30.0)) as night:
        await night.hears(2, poke=advertiser.send)
        await bluez.drained()
        before = len(night.readings)
        night.source._fresh.clear()  # else the counter would hide it
        advertiser.change({"Trusted": Variant("b", True)})
        advertiser.withdraw()
        advertiser.link_up()
        advertiser.drop_link()
        await bluez.drained()
        await asyncio.sleep(0.05)
        assert len(night.readings) == before


async def flaps(bluez, device):
    for _ in range(5):
        device.drop_link()
        await asyncio.sleep(0.03)


async def drop(bluez, device):
    device.drop_link()


async def refused(bluez, device):
    bluez.faults.on("Connect", error=("org.bluez.Error.Failed", "br-connection-canceled"), times=3)
    device.drop_link()


async def in_progress(bluez, device):
    bluez.faults.on("Connect", error=("org.bluez.Error.InProgress", "In Progress"), times=2)
    device.drop_link()


async def connect_hangs(bluez, device):
    bluez.faults.hang("Connect")
    device.drop_link()


async def aborted(bluez, device):
    bluez.faults.abort()
    device.drop_link()


async def aborted_and_stuck(bluez, device):
    bluez.faults.abort(flicker=False)
    device.drop_link()


async def subscription_hangs(bluez, device):
    bluez.faults.hang("StartNotify")
    device.drop_link()


async def subscription_refused(bluez, device):
    bluez.faults.on("StartNotify", error=("org.bluez.Error.Failed", "Operation failed"), times=1)
    device.drop_link()


async def disconnect_hangs(bluez, device):
    bluez.faults.hang("Disconnect")
    device.mute()
    await asyncio.sleep(0.6)
    device.unmute()


async def removed(bluez, device):
    device.remove()


async def mute(bluez, device):
    device.mute()
    await asyncio.sleep(0.7)
    device.unmute()


async def off_and_on(bluez, device):
    device.adapter.power(False)
    await asyncio.sleep(0.2)
    device.adapter.power(True)


async def unplugged(bluez, device):
    device.adapter.remove()
    await asyncio.sleep(0.2)
    device.adapter.insert()


async def restarted(bluez, device):
    await bluez.restart(down_seconds=0.2)


async def restarted_twice(bluez, device):
    await bluez.restart(announce=True)
    await asyncio.sleep(0.05)
    await bluez.restart()


LINK_FAULTS = (
    drop, flaps, refused, in_progress, connect_hangs, aborted, aborted_and_stuck, subscription_hangs,
    subscription_refused, disconnect_hangs, removed, mute, off_and_on, unplugged, restarted, restarted_twice,
)  # fmt: skip


@pytest.mark.parametrize("fault", LINK_FAULTS, ids=lambda f: f.__name__)
async def test_a_connected_probe_comes_back_after(fault, bluez, radio, connector):
    async with listening(device_source(radio, described=layout("notify"))) as night:
        await night.hears(4, poke=connector.send)
        await fault(bluez, connector)
        await night.hears(6, poke=connector.send)
        celsius = [r.celsius for r in night.readings if r.key == "left"]
        assert celsius == [pytest.approx(107.2)] * len(celsius)
        assert night.source.link.state is LinkState.UP
    assert radio.faults == 0


async def stuck_scan(bluez, device):
    bluez.faults.on("StartDiscovery", error=("org.bluez.Error.InProgress", "Operation already in progress"), times=2)
    device.adapter.power(False)
    device.adapter.power(True)


async def scan_hangs(bluez, device):
    bluez.faults.hang("StartDiscovery")
    await bluez.restart()


async def stop_refused(bluez, device):
    bluez.faults.on("StopDiscovery", error=("org.bluez.Error.InProgress", "Operation already in progress"), times=1)
    device.adapter._reset()  # BlueZ has dropped our discovery when it answers so
    await asyncio.sleep(1.3)  # so quiet that the scan is begun anew
    assert bluez.called("StopDiscovery") > 1, "bleak itself tries a second time"


async def not_ready(bluez, device):
    bluez.faults.on("SetDiscoveryFilter", error=("org.bluez.Error.NotReady", "Resource Not Ready"), times=1)
    await bluez.restart()


async def objects_hang(bluez, device):
    bluez.faults.hang("GetManagedObjects")
    await bluez.restart()


async def denied_for_a_while(bluez, device):
    bluez.faults.on("GetManagedObjects", error=("org.freedesktop.DBus.Error.AccessDenied", "Rejected"), times=2)
    await bluez.restart()


SCAN_FAULTS = (stuck_scan, scan_hangs, stop_refused, not_ready, denied_for_a_while, removed, off_and_on, unplugged,
               restarted, restarted_twice)  # fmt: skip


@pytest.mark.parametrize("fault", SCAN_FAULTS, ids=lambda f: f.__name__)
async def test_an_advertising_probe_is_heard_again_after(fault, bluez, radio, advertiser):
    async with listening(device_source(radio, described=layout())) as night:
        await night.hears(4, poke=advertiser.send)
        await fault(bluez, advertiser)
        await night.hears(6, poke=advertiser.send)
        assert night.source.link.state is LinkState.UP


async def test_the_system_bus_dies_and_both_kinds_of_probe_come_back(system_bus, bluez, radio, advertiser, hci0):
    other = hci0.add_device("C0:1D:51:DE:00:02", name="meat")
    char = other.gatt.add_service("1809").add_characteristic("2a1c", flags=["indicate"], value=b"")

    def send():
        advertiser.send()
        if char.notifying:
            char.notify(bytes.fromhex("00ca0800ff"))
        else:
            other.advertise(-50 - advertiser.sent % 20, {}, uuids=["1809"])

    grate = device_source(radio, described=layout())
    meat = device_source(radio, "meat", match=Match(name="me*t"), read="connection")
    async with listening(grate, meat) as (first, second):
        await first.hears(2, poke=send)
        await second.hears(2, poke=send)
        for _ in range(2):
            system_bus.restart()
            await bluez.start()
            await first.hears(4, poke=send)
            (reading, *_) = await second.hears(3, poke=send)
            assert reading.celsius == pytest.approx(225.0)
        assert radio.bus_deaths == 2


async def test_a_scan_that_goes_deaf_is_begun_anew(bluez, radio, advertiser):
    """BlueZ forgets the discovery, as it does on some faults of the kernel: no error, no signal."""
    async with listening(device_source(radio, described=layout())) as night:
        await night.hears(2, poke=advertiser.send)
        before = bluez.called("StartDiscovery")
        advertiser.adapter._reset()
        await night.hears(2, poke=advertiser.send)
        assert bluez.called("StartDiscovery") > before


async def test_a_notification_twice_at_once_counts_once(bluez, radio, connector):
    async with listening(device_source(radio, described=layout("notify"), quiet=10 * WAIT_SECONDS)) as night:
        await night.hears(2, poke=connector.send)
        await bluez.drained()
        before = len(night.readings)
        connector.char.notify_twice(packet(200))
        await night.hears(2)
        await asyncio.sleep(0.05)
        assert len(night.readings) == before + 2


async def test_a_device_left_connected_by_an_earlier_run_is_found(bluez, radio, connector, hci0):
    connector.link_up()
    connector.published or connector.publish()
    async with listening(device_source(radio, described=layout("notify"))) as night:
        await night.hears(2, poke=connector.send)
    assert not bluez.links(), "and let go of at the end"


async def test_no_more_connections_than_the_adapter_holds(bluez, hci0):
    radio = Radio(RadioOptions(slots=2), FAST)
    devices = [hci0.add_device(f"C0:1D:51:DE:01:{n:02}", name=f"box {n}") for n in range(4)]
    value = bytes.fromhex("e029")
    chars = [
        d.gatt.add_service("181a").add_characteristic("2a6e", flags=["read", "notify"], value=value) for d in devices
    ]
    most = 0

    def send():
        nonlocal most
        most = max(most, len(bluez.links()))
        for device, char in zip(devices, chars, strict=True):
            if char.notifying:
                char.notify(bytes.fromhex("e029"))
            else:
                device.advertise(-60)

    sources = [device_source(radio, f"s{n}", match=Match(name=f"box {n}"), read="connection") for n in range(4)]
    async with listening(*sources) as nights:
        async with asyncio.timeout(WAIT_SECONDS):
            while sum(bool(n.readings) for n in nights) < 2:
                send()
                await asyncio.sleep(0.02)
        send()
        waiting = [s for s, n in zip(sources, nights, strict=True) if not n.readings]
        assert len(waiting) == 2
        async with asyncio.timeout(WAIT_SECONDS):
            while not all(s.link.reason is LinkReason.NO_SLOT for s in waiting):
                send()
                await asyncio.sleep(0.02)
    assert most == 2
    assert not bluez.links()


async def test_two_adapters_each_with_its_own_scan(bluez, hci0):
    hci1 = bluez.add_adapter("hci1")
    here, there = hci0.add_device(BOX, name="box"), hci1.add_device(BOX, name="box")
    first = device_source(Radio(RadioOptions("hci0"), FAST), "near", described=layout(), quiet=5.0)
    second = device_source(Radio(RadioOptions("hci1"), FAST), "far", described=layout(), quiet=5.0)
    async with listening(first, second) as (near, far):
        async with asyncio.timeout(WAIT_SECONDS):
            while len(bluez.discovering()) < 2:
                await asyncio.sleep(0.01)
        here.advertise(-60, {"fff0": packet(1, 100.0)})
        there.advertise(-80, {"fff0": packet(1, 200.0)})
        await near.until(lambda: near.readings)
        await far.until(lambda: far.readings)
        assert near.readings[0].celsius == pytest.approx(100.0)
        assert far.readings[0].celsius == pytest.approx(200.0)
        hci0.power(False)
        await far.hears(2, poke=lambda: there.advertise(-80, {"fff0": packet(len(far.readings), 201.0)}))
        assert hci1.discovering
        assert not hci0.discovering


async def test_the_trouble_of_the_radio_shows_in_words(bluez, radio, hci0, advertiser):
    hci0.power(False)
    async with listening(device_source(radio, described=layout())) as night:
        await night.until(lambda: night.source.link.reason is LinkReason.POWERED_OFF)
        assert "bluetoothctl power on" in night.source.link.detail
        hci0.power(True)
        await night.hears(2, poke=advertiser.send)
        await night.until(lambda: night.source.link.reason is LinkReason.GONE)


async def test_an_adapter_that_goes_off_is_told_at_once(bluez, radio, hci0, advertiser):
    async with listening(device_source(radio, described=layout(), quiet=10 * WAIT_SECONDS)) as night:
        await night.hears(2, poke=advertiser.send)
        hci0.power(False)
        await night.until(lambda: night.source.link.reason is LinkReason.POWERED_OFF)


async def test_a_stuck_adapter_shows_in_words_and_may_recover(bluez, radio, hci0, advertiser):
    busy = ("org.bluez.Error.InProgress", "Operation already in progress")
    bluez.faults.on("StartDiscovery", error=busy, times=None)
    async with listening(device_source(radio, described=layout())) as night:
        await night.until(lambda: night.source.link.reason is LinkReason.STUCK)
        assert "off and on" in night.source.link.detail
        bluez.faults.clear()
        await night.hears(2, poke=advertiser.send)


async def test_stopping_leaves_nothing_behind(bluez, radio, connector):
    before = asyncio.all_tasks()
    async with listening(device_source(radio, described=layout("notify"))) as night:
        await night.hears(2, poke=connector.send)
    await bluez.drained()
    assert not bluez.links()
    assert not bluez.discovering()
    await asyncio.sleep(0.05)
    left = {t.get_name() for t in asyncio.all_tasks() - before if "monitor_bus" not in repr(t.get_coro())}
    assert not left


@pytest.mark.parametrize("when", [0.0, 0.01, 0.03, 0.05, 0.1])
async def test_it_can_be_stopped_at_any_moment(when, bluez, radio, connector):
    async with listening(device_source(radio, described=layout("notify"))) as night:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(when):
                await night.hears(1000, poke=connector.send)
    await bluez.drained()
    assert not bluez.links()
    assert not bluez.discovering()


async def test_stopped_while_a_scan_is_being_started_it_leaves_none_behind(bluez, radio):
    bluez.faults.delay("StartDiscovery", 0.3)
    async with listening(device_source(radio, described=layout("notify"))):
        await asyncio.sleep(0.15)
        assert not bluez.discovering(), "it is being started"
    await asyncio.sleep(0.4)
    await bluez.drained()
    assert not bluez.discovering()
